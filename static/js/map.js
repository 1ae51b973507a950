// The map sheet: features on the ground, the panel beside it, drawing, and the line of winters.
/* global L */
import { Grid, day } from './map/figures.js';
import { Features } from './map/features.js';
import { fillLegend } from './map/legend.js';
import { DateLine } from './map/dates.js';
import { DrainsOnDate } from './map/drains-on-date.js';
import { Drawing, geometryOf, outlineOf, showMeasures } from './map/drawing.js';

const IN_VIEW = 40;
const SNAP_ALONE = new Set(['chamber', 'headwall', 'outfall']);
const DRAINS = new Set(['ditch', 'pipe', 'pond', ...SNAP_ALONE]);
const given = JSON.parse(document.getElementById('map-given').textContent);
const byId = (id) => document.getElementById(id);
const at = (address, id) => address.replace(given.no_row, id);

const map = L.map('map', { attributionControl: false, zoomControl: false, zoomSnap: 0.1, zoomDelta: 0.5, minZoom: 3, maxZoom: 22, keyboardPanDelta: 60 });
L.control.zoom({ position: 'topright' }).addTo(map);
L.control.scale({ position: 'bottomright', imperial: false, maxWidth: 140 }).addTo(map);
map.fitBounds(given.extent, { paddingTopLeft: window.innerWidth > 900 ? [216, 20] : [8, 8], paddingBottomRight: window.innerWidth > 900 ? [56, 96] : [44, 84] });

const grid = new Grid(given.fit);
const features = new Features(map, given, grid, chosenOnMap);
const drains = new DrainsOnDate(features, given);
const drawing = given.draw ? new Drawing(map, grid) : null;
const sides = { course: byId('side-course'), feature: byId('side-feature'), draw: byId('side-draw') };
const words = byId('map-words');
let chosen = null, editing = null, drawn = null, picking = null, dateNow = given.today;

function say(text) {
  words.textContent = text;
  words.hidden = !text;
}

function showSide(name) {
  for (const [key, side] of Object.entries(sides)) if (side) side.hidden = key !== name;
}

function token() { return document.querySelector('input[name=csrfmiddlewaretoken]').value; }

async function post(address, body) {
  const isForm = body instanceof FormData;
  let answer;
  try {
    answer = await fetch(address, {
      method: 'POST', credentials: 'same-origin', body: isForm ? body : JSON.stringify(body),
      headers: { 'X-CSRFToken': token(), Accept: 'application/json', ...(isForm ? {} : { 'Content-Type': 'application/json' }) },
    });
  } catch {
    return { status: 0, words: 'The server did not answer, so nothing was kept. What you drew is still here; try again.' };
  }
  const type = answer.headers.get('content-type') || '';
  if (!type.includes('json')) return { status: answer.status, words: `The server could not take this (${answer.status}). What you drew is still here.` };
  return { status: answer.status, ...(await answer.json()) };
}

// ---- the ground behind --------------------------------------------------------------------------

const grounds = [];
for (const [name, z] of [['shading', 220], ['contours', 240]]) {
  map.createPane(name).style.zIndex = z;
  map.getPane(name).style.pointerEvents = 'none';
}
if (given.shading && given.shading_bounds && given.shading_bounds.length) {
  const layer = L.imageOverlay(given.shading, given.shading_bounds, { pane: 'shading', opacity: 0.35, pmIgnore: true, snapIgnore: true, alt: '' }).addTo(map);
  grounds.push(['shading of the ground', layer, map]);
}
async function loadContours() {
  if (!given.contours || !given.shading_bounds) return;
  const answer = await fetch(given.contours, { credentials: 'same-origin' });
  if (!answer.ok) return;
  const data = await answer.json();
  const levels = [...new Set(data.features.map((one) => one.properties.level_m))].sort((a, b) => a - b);
  const step = levels.length > 1 ? levels[1] - levels[0] : 1;
  const isMain = (level) => Math.abs(level / (5 * step) - Math.round(level / (5 * step))) < 1e-6;
  const layer = L.geoJSON(data, {
    pane: 'contours', renderer: L.svg({ pane: 'contours', padding: 0.4 }), interactive: false, pmIgnore: true, snapIgnore: true, smoothFactor: 1.2,
    style: (one) => ({ className: isMain(one.properties.level_m) ? 'contour main' : 'contour' }),
  }).addTo(map);
  layer.eachLayer((line) => { line.options.snapIgnore = true; });
  grounds.push([`contours, every ${step} m`, layer, map]);
}

// Asked for only when switched on: most who open the map look for features.
function offerWater() {
  if (!given.water) return;
  for (const [name, z] of [['wetness', 225], ['survey-distance', 230], ['water-lines', 245]]) {
    map.createPane(name).style.zIndex = z;
    map.getPane(name).style.pointerEvents = 'none';
  }
  const picture = (address, pane, alt) => L.imageOverlay(address, given.water.bounds, { pane, pmIgnore: true, snapIgnore: true, alt });
  const lines = L.layerGroup([], { pmIgnore: true });
  lines.once('add', async () => {
    const answer = await fetch(given.water_lines, { credentials: 'same-origin' }).catch(() => null);
    if (!answer || !answer.ok) { say('Where water runs could not be read just now.'); return; }
    const drawn = L.geoJSON(await answer.json(), {
      pane: 'water-lines', renderer: L.svg({ pane: 'water-lines', padding: 0.4 }), interactive: false, pmIgnore: true, snapIgnore: true,
      style: ({ properties }) => (properties.is === 'hollow' ? { className: 'hollow' } : { className: `flow-path${properties.area_ha >= 2 ? ' main' : ''}` }),
    });
    drawn.eachLayer((line) => { line.options.snapIgnore = true; });
    lines.addLayer(drawn);
  });
  grounds.push(
    ['where water runs and stands', lines, map],
    ['wetness by shape', picture(given.wetness, 'wetness', ''), map],
    ['levels a guess, hatched', picture(given.survey_distance, 'survey-distance', ''), map],
  );
}

async function loadLaterals() {
  if (!given.laterals) return;
  const answer = await fetch(given.laterals, { credentials: 'same-origin' });
  if (!answer.ok) return;
  const data = await answer.json();
  if (!data.features.length) return;
  map.createPane('laterals').style.zIndex = 412;
  map.getPane('laterals').style.pointerEvents = 'none';
  const layer = L.geoJSON(data, {
    pane: 'laterals', renderer: L.svg({ pane: 'laterals', padding: 0.4 }), interactive: false, pmIgnore: true, snapIgnore: true,
    style: () => ({ className: 'lateral' }),
  }).addTo(map);
  layer.eachLayer((line) => { line.options.snapIgnore = true; });
  grounds.push(['laterals laid out', layer, map]);
}

// ---- the panel ----------------------------------------------------------------------------------

function inView() {
  const bounds = map.getBounds(), asked = byId('in-view-words').value.trim().toLowerCase();
  const weight = { on_site: 0, growing_in: 1, proposed: 2 };
  const found = [];
  for (const { one } of features.all.values()) {
    if (one.properties.kind === 'tree' && !asked) continue;
    if (!features.isShown(one)) continue;
    if (asked ? !`${features.title(one)} ${one.properties.ref || ''}`.toLowerCase().includes(asked) : !bounds.intersects(features.bounds(one))) continue;
    found.push(one);
  }
  found.sort((a, b) => (weight[features.stateNow(a)] ?? 3) - (weight[features.stateNow(b)] ?? 3)
    || features.title(a).localeCompare(features.title(b), 'en', { numeric: true }));
  byId('in-view').replaceChildren(...found.slice(0, IN_VIEW).map((one) => {
    const item = document.createElement('li'), button = document.createElement('button');
    button.type = 'button';
    button.dataset.feature = one.id;
    const name = document.createElement('span'), small = document.createElement('small'), tag = document.createElement('span');
    name.textContent = features.title(one);
    small.textContent = [one.properties.holes ? `hole ${one.properties.holes.join(', ')}` : '', features.figures(one)].filter(Boolean).join(' · ');
    name.append(small);
    tag.className = `tag ${features.stateNow(one)}`;
    tag.textContent = given.states[features.stateNow(one)];
    button.append(name, tag);
    item.append(button);
    return item;
  }));
  byId('in-view-more').textContent = found.length > IN_VIEW ? `and ${found.length - IN_VIEW} more; move closer or name one.` : found.length ? '' : asked ? 'Nothing of that name or reference.' : 'Nothing in this part of the map.';
}

function chosenOnMap(id, event) {
  if (picking) { picking(id, event); return; }
  if (editing || (drawing && drawing.drawing) || drawn) return;
  L.DomEvent.stop(event);
  choose(id);
}

function closePanel() {
  chosen = null;
  features.halo(null);
  history.replaceState(null, '', window.location.pathname);
  showSide('course');
  inView();
}

async function choose(id, { fly = false } = {}) {
  stopEditing(false);
  chosen = id;
  features.halo(id);
  history.replaceState(null, '', `#${id}`);
  const side = sides.feature;
  showSide('feature');
  const answer = await fetch(at(given.panel, id), { credentials: 'same-origin' }).catch(() => null);
  if (chosen !== id) return;
  if (!answer || !answer.ok) {
    side.replaceChildren(Object.assign(document.createElement('p'), { className: 'notice warn', textContent: answer && answer.status === 404 ? 'This feature is no longer on the record.' : 'The server did not answer; choose it again in a moment.' }));
    return;
  }
  side.innerHTML = await answer.text();
  const told = JSON.parse(side.querySelector('#feature-told').textContent);
  features.put(told.feature);
  features.halo(id);
  side.dataset.seen = told.seen;
  if (fly) map.fitBounds(features.bounds(told.feature).pad(0.6), { maxZoom: 18.5 });
  tellDate();
  const joinWith = side.querySelector('#panel-with');
  if (joinWith) {
    joinWith.replaceChildren(...features.nearestOfKind(id).map(({ other, m }) => new Option(`${features.title(other)}, ${m < 1 ? 'meets' : `${Math.round(m)} m away`}`, other.id)));
  }
  side.querySelector('h1').focus({ preventScroll: true });
  for (const [name, address] of Object.entries(given.fragments)) {
    if (address && (name !== 'drainage' || DRAINS.has(told.feature.properties.kind))) loadFragment(name, at(address, id), id);
  }
}

async function loadFragment(name, address, id) {
  const slot = sides.feature.querySelector(`[data-slot=${name}]`);
  const answer = await fetch(address, { credentials: 'same-origin' }).catch(() => null);
  if (chosen !== id || !slot) return;
  if (answer && answer.ok) slot.innerHTML = await answer.text();
  else if (!answer || answer.status !== 404) slot.textContent = 'This part could not be read just now.';
}

function tellDate() {
  const line = sides.feature.querySelector('[data-on-date]');
  const entry = features.all.get(chosen);
  if (!line || !entry) return;
  const now = features.stateNow(entry.one);
  line.hidden = now === entry.one.properties.state;
  line.textContent = `On ${day(dateNow)}, by the plan: ${given.states[now]}.`;
}

async function takeUp(answer, keepChosen) {
  if (answer.dropped) {
    closePanel();
    features.drop(answer.dropped);
    say(answer.words);
    return;
  }
  for (const one of answer.features) features.put(one.feature);
  features.showAll();
  say(answer.words);
  await choose(keepChosen || answer.features[0].feature.id);
}

function ask(text, buttons = []) {
  const place = sides.feature.querySelector('[data-asks]');
  if (!place) { say(text); return; }
  const box = document.createElement('div');
  box.className = 'notice warn';
  box.append(Object.assign(document.createElement('p'), { textContent: text }));
  const row = Object.assign(document.createElement('div'), { className: 'actions tight' });
  for (const [label, action] of buttons) {
    const button = Object.assign(document.createElement('button'), { type: 'button', className: 'button', textContent: label });
    button.addEventListener('click', () => { place.replaceChildren(); action(); });
    row.append(button);
  }
  box.append(row);
  place.replaceChildren(box);
  box.scrollIntoView({ block: 'nearest' });
}

// ---- changing shapes ----------------------------------------------------------------------------

function stopEditing(keepLayer) {
  if (!editing) return;
  editing.end();
  if (editing.theirs) editing.theirs.remove();
  if (!keepLayer) features.put(editing.before);
  editing = null;
  const bar = sides.feature.querySelector('[data-edit-bar]');
  if (bar) { bar.hidden = true; sides.feature.querySelector('[data-actions]').hidden = false; }
  sides.feature.querySelector('[data-asks]')?.replaceChildren();
}

function startEditing() {
  const entry = features.all.get(chosen), side = sides.feature;
  const shape = entry.one.geometry.type;
  side.querySelector('[data-edit-bar]').hidden = false;
  side.querySelector('[data-actions]').hidden = true;
  features.halo(null);
  const live = side.querySelector('[data-live]');
  editing = { before: entry.one, shape, layer: entry.layer, theirs: null };
  editing.end = drawing.edit(entry.layer, shape, (rows) => showMeasures(live, rows));
  side.querySelector('[data-edit-bar]').scrollIntoView({ block: 'nearest' });
}

async function keepShape() {
  const id = chosen, { layer, shape } = editing;
  const answer = await post(at(given.draw.reshape, id), { seen: sides.feature.dataset.seen, geometry: geometryOf(layer, shape) });
  if (answer.status === 200) {
    stopEditing(true);
    await takeUp(answer);
  } else if (answer.status === 409) {
    collided(answer);
  } else {
    ask(answer.words);
  }
}

// Both shapes stand on the map until one is kept: mine as it is being edited, theirs dashed.
function collided(answer) {
  if (editing.theirs) editing.theirs.remove();
  editing.theirs = L.geoJSON(answer.feature, { style: { className: 'theirs-line' }, pointToLayer: (_, where) => L.circleMarker(where, { radius: 9, className: 'theirs-line' }), interactive: false, pmIgnore: true, snapIgnore: true }).addTo(map);
  ask(`${answer.who} ${answer.words}`, [
    ['Keep mine', () => { sides.feature.dataset.seen = answer.seen; keepShape(); }],
    ['Take theirs', () => { stopEditing(true); features.put(answer.feature); choose(answer.feature.id); }],
  ]);
}

async function change(name, body) {
  const answer = await post(at(given.draw[name], chosen), { seen: sides.feature.dataset.seen, ...body });
  if (answer.status === 200) await takeUp(answer);
  else if (answer.status === 409) ask(`${answer.who} ${answer.words}`, [['Look at theirs', () => { features.put(answer.feature); choose(answer.feature.id); }]]);
  else ask(answer.words);
}

function startSplit() {
  const entry = features.all.get(chosen);
  if (entry.one.geometry.type === 'LineString') {
    say('Click the line where it is to be split. Escape leaves it whole.');
    picking = (id, event) => {
      if (id !== chosen) return;
      L.DomEvent.stop(event);
      stopPicking();
      change('split', { geometry: { type: 'Point', coordinates: [event.latlng.lng, event.latlng.lat] } });
    };
    return;
  }
  say('Draw the cut right across the area; a double click ends it. Escape leaves it whole.');
  drawing.start('LineString', {
    told: () => {},
    dropped: () => say(''),
    done: (layer) => {
      const cut = geometryOf(layer, 'LineString');
      layer.remove();
      say('');
      change('split', { geometry: cut });
    },
  });
}

function stopPicking() {
  picking = null;
  say('');
}

// ---- drawing something new ----------------------------------------------------------------------

function kindToDraw() { return byId('draw-kind').value; }

function openDraw(lead) {
  const kind = kindToDraw();
  dropDrawn();
  chosen = null;
  features.halo(null);
  showSide('draw');
  byId('id_kind').value = kind;
  byId('id_geometry').value = '';
  byId('id_coordinates').value = '';
  byId('draw-title').textContent = `New ${given.kinds[kind].words}`;
  byId('draw-words').textContent = lead;
  showMeasures(byId('draw-live'), []);
}

function startDraw() {
  const kind = kindToDraw(), { shape } = given.kinds[kind];
  openDraw({
    LineString: 'Click point after point, the way the water runs. A double click or Enter ends it.',
    Polygon: 'Click round the edge; click the first point again to close it.',
    Point: 'Click where it is.',
  }[shape]);
  byId('draw-going').hidden = shape === 'Point';
  byId('draw-finish').textContent = shape === 'Polygon' ? 'Close the area' : 'Finish the line';
  say(SNAP_ALONE.has(kind) ? 'It snaps to the ends of drains.' : 'Points snap to what is near; hold Alt to keep them free.');
  drawing.start(shape, {
    told: (rows) => showMeasures(byId('draw-live'), rows),
    dropped: () => closeDraw(),
    done: (layer) => takeDrawn(layer, shape, kind),
  });
}

function takeDrawn(layer, shape, kind) {
  byId('draw-going').hidden = true;
  say('');
  byId('draw-words').textContent = 'Its points can still be moved. Say what it is, then keep it.';
  drawn = { layer, shape, kind };
  drawn.end = drawing.edit(layer, shape, (rows) => {
    byId('id_geometry').value = JSON.stringify(geometryOf(layer, shape));
    showMeasures(byId('draw-live'), rows);
    clearTimeout(drawn && drawn.later);
    if (drawn) drawn.later = setTimeout(() => measureDrawn(), 250);
  });
  measureDrawn();
  byId('id_ref').focus({ preventScroll: true });
}

// The server's own figures and grid coordinates, once the hand rests.
async function measureDrawn() {
  if (!drawn) return;
  const answer = await post(given.draw.measure, { kind: drawn.kind, geometry: geometryOf(drawn.layer, drawn.shape) });
  if (!drawn) return;
  if (answer.status !== 200) { byId('draw-words').textContent = answer.words; return; }
  byId('id_coordinates').value = answer.coordinates;
  showMeasures(byId('draw-live'), answer.measures.map((one) => [one.what, `${one.value} ${one.unit}`]));
}

async function showTyped() {
  const kind = byId('id_kind').value, { shape } = given.kinds[kind];
  const answer = await post(given.draw.measure, { kind, coordinates: byId('id_coordinates').value });
  byId('draw-words').textContent = answer.status === 200 ? 'These are the points as typed.' : answer.words;
  if (answer.status !== 200) return;
  dropDrawn();
  const options = { className: 'drawn', pane: 'drawn' };
  const back = ([lng, lat]) => [lat, lng];
  const { coordinates } = answer.geometry;
  const layer = shape === 'Point' ? L.circleMarker(back(coordinates), { ...options, radius: 8 })
    : shape === 'Polygon' ? L.polygon(coordinates.map((ring) => ring.slice(0, -1).map(back)), options) : L.polyline(coordinates.map(back), options);
  layer.addTo(map);
  // Kept from the typed figures, to the millimetre, unless a point is then moved by hand.
  drawn = { layer, shape, kind, end: () => {} };
  byId('id_geometry').value = '';
  showMeasures(byId('draw-live'), answer.measures.map((one) => [one.what, `${one.value} ${one.unit}`]));
  map.fitBounds(L.latLngBounds(outlineOf(layer, shape)).pad(0.6), { maxZoom: 18.5 });
}

function dropDrawn() {
  if (!drawn) return;
  clearTimeout(drawn.later);
  drawn.end();
  drawn.layer.remove();
  drawn = null;
}

function closeDraw() {
  drawing.stop(false);
  dropDrawn();
  say('');
  byId('draw-going').hidden = true;
  closePanel();
}

async function keepDrawn(event) {
  event.preventDefault();
  const form = byId('draw-form'), button = form.querySelector('button.main');
  button.disabled = true;
  const answer = await post(given.draw.new, new FormData(form));
  button.disabled = false;
  if (answer.status === 200) {
    dropDrawn();
    for (const id of ['id_ref', 'id_name', 'id_notes']) byId(id).value = '';
    await takeUp(answer);
    fillLegend(features, given, grounds);
  } else if (answer.form) {
    byId('draw-fields').innerHTML = answer.form;
    byId('draw-words').textContent = answer.words;
  } else {
    byId('draw-words').textContent = answer.words;
  }
}

// ---- what is pressed ----------------------------------------------------------------------------

byId('in-view').addEventListener('click', (event) => {
  const button = event.target.closest('[data-feature]');
  if (button) choose(button.dataset.feature, { fly: true });
});
byId('in-view-words').addEventListener('input', inView);
map.on('moveend', () => { if (!sides.course.hidden) inView(); });

sides.feature.addEventListener('click', (event) => {
  const pressed = event.target.closest('[data-do]');
  if (!pressed) return;
  const doing = {
    close: () => { stopEditing(false); stopPicking(); closePanel(); },
    edit: startEditing,
    'keep-shape': keepShape,
    'drop-shape': () => { stopEditing(false); features.halo(chosen); },
    turn: () => change('turn', {}),
    split: startSplit,
  }[pressed.dataset.do];
  if (doing) doing();
});
sides.feature.addEventListener('submit', (event) => {
  const form = event.target.closest('[data-form]');
  if (!form) return;
  event.preventDefault();
  change(form.dataset.form, Object.fromEntries(new FormData(form)));
});
document.addEventListener('keydown', (event) => { if (event.key === 'Escape' && picking) stopPicking(); });

if (drawing) {
  byId('draw-start').addEventListener('click', startDraw);
  byId('draw-typed').addEventListener('click', () => { openDraw('Type its points below, one a line, then show them on the map or keep them.'); byId('id_coordinates').focus(); });
  byId('draw-back').addEventListener('click', closeDraw);
  byId('draw-finish').addEventListener('click', () => drawing.finish());
  byId('draw-undo').addEventListener('click', () => drawing.undo());
  byId('draw-show').addEventListener('click', showTyped);
  byId('draw-form').addEventListener('submit', keepDrawn);
  byId('draw-form').addEventListener('input', (event) => {
    if (event.target.id === 'id_coordinates') byId('id_geometry').value = '';
  });
}
window.addEventListener('beforeunload', (event) => { if (drawn || editing) event.preventDefault(); });
if (window.innerWidth < 901) byId('legend').open = false;

// ---- the course at a date -----------------------------------------------------------------------

async function statesOn(iso) {
  const answer = await fetch(`${given.states_on}?on=${iso}`, { credentials: 'same-origin' }).catch(() => null);
  return answer && answer.ok ? answer.json() : null;
}

async function showDate(iso, isToday) {
  dateNow = iso;
  const told = await statesOn(iso);
  if (dateNow !== iso) return;
  if (!told) { say('The course on that day could not be read just now.'); return; }
  await drains.show(iso, told.drains, isToday);
  if (dateNow !== iso) return;
  features.onDate = new Map(isToday ? [] : Object.entries(told.states));
  features.showAll();
  if (chosen) tellDate(); else inView();
}

async function begin() {
  const answer = await fetch(given.data, { credentials: 'same-origin' }).catch(() => null);
  if (!answer || !answer.ok) { say('The features could not be read just now. Open the page again in a moment.'); return; }
  features.load(await answer.json());
  await loadContours();
  await loadLaterals();
  offerWater();
  fillLegend(features, given, grounds);
  inView();
  const id = window.location.hash.slice(1);
  if (features.all.has(id)) choose(id, { fly: true });
  byId('map').dataset.ready = 'yes';
  if (given.states_on) {
    const told = await statesOn(given.today);
    if (told && told.starts_on) new DateLine(told, given.today, showDate);
    if (told) await drains.show(given.today, told.drains, true);
    features.showAll();
  }
  if (given.reaches) {
    const told = await fetch(given.reaches, { credentials: 'same-origin' }).catch(() => null);
    if (told && told.ok) features.words = (await told.json()).words;
  }
}

begin();
