// Water on the ground: its layers, and the catchment of a place that is clicked.
import { drawCourse, makeMap } from './survey-map.js';

const L = window.L;
const element = document.getElementById('survey-map');
const read = (id) => JSON.parse(document.getElementById(id).textContent);
const MAIN_HA = 2;

if (element) {
  const map = makeMap(element);
  map.fitBounds(read('bounds'), { animate: false, padding: [6, 6] });
  const svg = L.svg({ padding: 0.4 });
  const form = document.getElementById('place-form');
  const hint = document.getElementById('map-hint');
  const told = L.layerGroup().addTo(map);
  const layers = { lines: L.layerGroup().addTo(map), hollows: L.layerGroup().addTo(map) };
  let asked = 0;

  L.imageOverlay(element.dataset.shading, read('bounds'), { opacity: 0.4, alt: '' }).addTo(map);
  drawCourse(map, element.dataset.course);
  if (element.dataset.wetness) {
    const bounds = read('water-bounds');
    layers.wetness = L.imageOverlay(element.dataset.wetness, bounds, { alt: 'Wetness by shape' });
    layers.distance = L.imageOverlay(element.dataset.distance, bounds, { alt: 'Where levels are a guess' });
    drawLines();
    for (const box of document.querySelectorAll('[data-layer]')) {
      const set = () => (box.checked ? layers[box.dataset.layer].addTo(map) : layers[box.dataset.layer].remove());
      box.addEventListener('change', set);
      set();
    }
  }
  drawPlace();

  async function drawLines() {
    const answer = await fetch(element.dataset.lines, { credentials: 'same-origin' });
    if (!answer.ok) { hint.textContent = 'Where water runs could not be read just now.'; return; }
    const data = await answer.json();
    const only = (what) => ({ ...data, features: data.features.filter((one) => one.properties.is === what) });
    L.geoJSON(only('path'), {
      renderer: svg, interactive: false,
      style: (one) => ({ className: `flow-path${one.properties.area_ha >= MAIN_HA ? ' main' : ''}` }),
    }).addTo(layers.lines);
    L.geoJSON(only('hollow'), {
      renderer: svg, style: () => ({ className: 'hollow' }), bubblingMouseEvents: true,
      onEachFeature: ({ properties }, layer) => layer.bindTooltip(`hollow ${properties.number}: ${properties.depth_m.toFixed(2)} m deep, holds ${properties.volume_m3.toFixed(1)} m³`, { sticky: true }),
    }).addTo(layers.hollows);
  }

  function drawPlace() {
    told.clearLayers();
    const drawn = read('place-drawn');
    if (!drawn) return;
    L.geoJSON(drawn, {
      renderer: svg, interactive: false,
      style: (one) => ({ className: `${one.properties.is}-drawn` }),
      pointToLayer: (_, place) => L.circleMarker(place, { radius: 6, renderer: svg, className: 'place-drawn' }),
    }).addTo(told);
  }

  map.on('click', async ({ latlng }) => {
    const mine = ++asked;
    hint.textContent = 'Following the water.';
    const answer = await fetch(`${element.dataset.level}?at=${latlng.lng.toFixed(8)},${latlng.lat.toFixed(8)}`, { credentials: 'same-origin' }).catch(() => null);
    if (mine !== asked) return;
    if (!answer || !answer.ok) { hint.textContent = 'The server did not answer; click again in a moment.'; return; }
    const place = await answer.json();
    form.elements.e.value = place.easting.toFixed(1);
    form.elements.n.value = place.northing.toFixed(1);
    const address = `${form.getAttribute('action')}?${new URLSearchParams(new FormData(form))}`;
    const page = await fetch(address, { credentials: 'same-origin' }).catch(() => null);
    if (mine !== asked) return;
    if (!page || !page.ok) { hint.textContent = 'The server did not answer; click again in a moment.'; return; }
    const found = new DOMParser().parseFromString(await page.text(), 'text/html').getElementById('place');
    document.getElementById('place').replaceWith(found);
    drawPlace();
    hint.textContent = read('place-drawn') ? 'Dashed: what drains to the place. Full line: the longest way. Dotted: where a drop from here runs on.' : 'That place lies outside the surveyed ground.';
    window.history.replaceState(null, '', address);
  });
}
