// The ground page: two clicked places become the line whose fall is told.
import { drawCourse, makeMap, tokens } from './survey-map.js';

const L = window.L;
const element = document.getElementById('survey-map');
const read = (id) => JSON.parse(document.getElementById(id).textContent);

if (element) {
  const colour = tokens();
  const map = makeMap(element);
  map.fitBounds(read('bounds'), { animate: false, padding: [6, 6] });
  const form = document.getElementById('fall-form');
  const hint = document.getElementById('map-hint');
  const places = [];
  const drawnLine = L.layerGroup().addTo(map);

  L.imageOverlay(element.dataset.shading, read('bounds'), { opacity: 0.4, alt: '' }).addTo(map);
  drawContours();
  drawCourse(map, element.dataset.course);
  show(read('line') || []);

  async function drawContours() {
    const answer = await fetch(element.dataset.contours, { credentials: 'same-origin' });
    if (!answer.ok) return;
    L.geoJSON(await answer.json(), {
      style: (one) => ({ color: '#a08a5c', weight: one.properties.fifth ? 1.4 : 0.6, opacity: 0.9 }),
      onEachFeature: (one, layer) => layer.bindTooltip(`${one.properties.level_m} m`, { sticky: true }),
      bubblingMouseEvents: true,
    }).addTo(map);
  }

  function show(ends) {
    drawnLine.clearLayers();
    if (ends.length > 1) L.polyline(ends, { color: colour('accent'), weight: 3, interactive: false }).addTo(drawnLine);
    ends.forEach((place, number) => {
      L.circleMarker(place, { radius: 6, color: colour('accent'), weight: 2, fillColor: colour('sheet'), fillOpacity: 1, interactive: false }).addTo(drawnLine);
      L.tooltip({ permanent: true, direction: 'top', offset: [0, -6] }).setLatLng(place).setContent(number ? 'to' : 'from').addTo(drawnLine);
    });
  }

  map.on('click', async ({ latlng }) => {
    if (places.length === 2) places.length = 0;
    const address = `${element.dataset.level}?at=${latlng.lng.toFixed(8)},${latlng.lat.toFixed(8)}`;
    const answer = await fetch(address, { credentials: 'same-origin' });
    if (!answer.ok) return;
    const told = await answer.json();
    places.push(latlng);
    const end = places.length === 1 ? 'a' : 'b';
    form.elements[`${end}e`].value = told.easting.toFixed(2);
    form.elements[`${end}n`].value = told.northing.toFixed(2);
    show(places.map((place) => [place.lat, place.lng]));
    const level = told.level_m === null ? 'outside the surveyed ground' : `level ${told.level_m.toFixed(2)} m`;
    if (places.length === 1) hint.textContent = `From: ${level}. Now click where the line ends.`;
    else ask();
  });

  // The same address without a script gives the same page; here only its answer is put in.
  async function ask() {
    const address = `${form.getAttribute('action')}?${new URLSearchParams(new FormData(form))}`;
    hint.textContent = 'Measuring.';
    const answer = await fetch(address, { credentials: 'same-origin' });
    const page = new DOMParser().parseFromString(await answer.text(), 'text/html');
    document.getElementById('fall').replaceWith(page.getElementById('fall'));
    hint.textContent = 'Click two other places for another line.';
    window.history.replaceState(null, '', address);
  }
}
