// A small map of what a survey file holds, or of the ground; drawn from data the page carries.
const L = window.L;

export function tokens() {
  const style = getComputedStyle(document.documentElement);
  return (name) => style.getPropertyValue(`--${name}`).trim();
}

export function makeMap(element) {
  const map = L.map(element, {
    attributionControl: false, zoomSnap: 0, preferCanvas: true, maxZoom: 22, scrollWheelZoom: true,
  });
  L.control.scale({ imperial: false, position: 'bottomright' }).addTo(map);
  return map;
}

// What the club has already, drawn faintly so that one sees whether the file lies on it.
export async function drawCourse(map, address) {
  const answer = await fetch(address, { credentials: 'same-origin' });
  if (!answer.ok) return;
  const colour = tokens();
  L.geoJSON(await answer.json(), {
    interactive: false,
    style: () => ({ color: colour('soft'), weight: 1, opacity: 0.55, fill: false, dashArray: '2 3' }),
    pointToLayer: (_, place) => L.circleMarker(place, { radius: 2, color: colour('soft'), opacity: 0.55, weight: 1 }),
  }).addTo(map);
}

const AREAS = { green: 'green', tee: 'green', fairway: 'turf', bunker: 'sand', pond: 'water', wood: 'wood' };
const LINES = { ditch: 'water', pipe: 'ink', path: 'path' };

const LOW = [29, 106, 134];
const HIGH = [160, 92, 36];

function levelColour(level, { lowest, highest }) {
  const part = highest > lowest ? (level - lowest) / (highest - lowest) : 0.5;
  return `rgb(${LOW.map((low, i) => Math.round(low + (HIGH[i] - low) * part)).join(',')})`;
}

function pointWords([, , level, code]) {
  const words = document.createElement('span');
  words.textContent = `${level.toFixed(3)} m${code ? ` · ${code}` : ''}`;
  return words;
}

export function drawFile(map, drawn) {
  const colour = tokens();
  const group = L.featureGroup().addTo(map);
  if (drawn.points) {
    for (const point of drawn.points) {
      L.circleMarker([point[1], point[0]], { radius: 2.5, stroke: false, fillColor: levelColour(point[2], drawn), fillOpacity: 0.9 })
        .bindTooltip(() => pointWords(point)).addTo(group);
    }
  }
  if (drawn.shapes) {
    L.geoJSON(drawn.shapes, {
      style: (one) => (one.geometry.type === 'Point' ? {
        color: colour('ink'), weight: one.properties.kind === 'tree' ? 0.5 : 1.5,
        fillColor: colour(one.properties.kind === 'tree' ? 'wood' : 'sheet'), fillOpacity: 1,
      } : {
        color: colour(LINES[one.properties.kind] || 'ink'), weight: one.geometry.type === 'LineString' ? 3 : 1.5,
        dashArray: one.properties.kind === 'pipe' ? '7 5' : null,
        fillColor: colour(AREAS[one.properties.kind] || 'turf'), fillOpacity: 0.55, fill: one.properties.kind !== 'boundary',
      }),
      pointToLayer: (one, place) => (one.properties.kind === 'tree'
        ? L.circleMarker(place, { radius: 3.5 })
        : L.circleMarker(place, { radius: 5 })),
      onEachFeature: (one, layer) => {
        const words = document.createElement('span');
        words.textContent = one.properties.words;
        layer.bindTooltip(words, { sticky: true });
      },
    }).addTo(group);
  }
  if (drawn.picture) {
    L.imageOverlay(drawn.picture, drawn.bounds, { opacity: 0.7, alt: 'Light and shade of the levels read' }).addTo(map);
    L.rectangle(drawn.bounds, { color: colour('accent'), weight: 1.5, fill: false, interactive: false }).addTo(group);
  }
  return group;
}

export function fit(map, group, extent) {
  const bounds = group.getBounds();
  if (bounds.isValid()) map.fitBounds(bounds.pad(0.04), { animate: false, maxZoom: 19 });
  else if (extent) map.fitBounds(extent, { animate: false });
}
