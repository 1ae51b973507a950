// What the lines and fills mean, each with its switch.
const STATE_ROWS = [
  [['existing', 'as_built'], 'existing, as built'],
  [['on_site'], 'on site now'],
  [['growing_in'], 'growing in'],
  [['proposed'], 'proposed'],
  [['removed'], 'removed'],
];
const LINE_KINDS = [['ditch', 'open ditch'], ['pipe', 'piped']];
const SVG = 'http://www.w3.org/2000/svg';

function swatch(kind, state, shape) {
  const svg = document.createElementNS(SVG, 'svg');
  svg.setAttribute('viewBox', '0 0 40 14');
  svg.setAttribute('aria-hidden', 'true');
  const made = {
    LineString: ['path', { d: 'M1 7 H39' }],
    Polygon: ['rect', { x: 4, y: 1.5, width: 32, height: 11, rx: 4 }],
    Point: ['circle', { cx: 20, cy: 7, r: 5 }],
    triangle: ['path', { d: 'M20 1 L28 12.5 L12 12.5 Z' }],
    square: ['rect', { x: 14, y: 2.5, width: 12, height: 9 }],
  }[kind === 'outfall' ? 'triangle' : kind === 'headwall' ? 'square' : shape];
  const mark = document.createElementNS(SVG, made[0]);
  for (const [name, value] of Object.entries(made[1])) mark.setAttribute(name, value);
  mark.setAttribute('class', `f ${kind} ${state}`);
  svg.append(mark);
  return svg;
}

function row(words, picture, isOn, onChange) {
  const item = document.createElement('li'), label = document.createElement('label');
  const box = document.createElement('input');
  box.type = 'checkbox';
  box.checked = isOn;
  box.addEventListener('change', () => onChange(box.checked));
  label.append(box, ...(picture ? [picture] : []), document.createTextNode(words));
  item.append(label);
  return item;
}

export function fillLegend(features, given, grounds) {
  const lines = document.getElementById('legend-lines'), kinds = document.getElementById('legend-kinds');
  const present = new Set([...features.all.values()].map((entry) => entry.one.properties.kind));
  const switchSet = (set, names) => (isOn) => {
    for (const name of names) if (isOn) set.delete(name); else set.add(name);
    features.showAll();
  };
  lines.replaceChildren();
  kinds.replaceChildren();
  for (const [kind, words] of LINE_KINDS) {
    lines.append(row(words, swatch(kind, 'existing', 'LineString'), !features.hidden.kinds.has(kind), switchSet(features.hidden.kinds, [kind])));
  }
  for (const [states, words] of STATE_ROWS) {
    const item = row(words, swatch('any', states[0], 'Polygon'), !features.hidden.states.has(states[0]), switchSet(features.hidden.states, states));
    if (states[0] === 'existing') item.className = 'legend-part';
    lines.append(item);
  }
  for (const [kind, { words, shape }] of Object.entries(given.kinds)) {
    if (!present.has(kind) || LINE_KINDS.some(([name]) => name === kind)) continue;
    kinds.append(row(words, swatch(kind, 'existing', shape), !features.hidden.kinds.has(kind), switchSet(features.hidden.kinds, [kind])));
  }
  for (const [words, layer, map] of grounds) {
    kinds.append(row(words, null, map.hasLayer(layer), (isOn) => (isOn ? layer.addTo(map) : layer.remove())));
  }
}
