// What was read from a survey file, on the map, before or after it is saved.
import { drawCourse, drawFile, fit, makeMap } from './survey-map.js';

const element = document.getElementById('survey-map');
const read = (id) => JSON.parse(document.getElementById(id).textContent);

if (element) {
  const drawn = read('drawn');
  const map = makeMap(element);
  fit(map, drawFile(map, drawn), read('extent'));
  drawCourse(map, element.dataset.course);
}
