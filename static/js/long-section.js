// Reads the long section where one points: chainage, ground, invert, depth.

/** Level on a line of [chainage, level] pairs that run downwards in chainage; null where unknown. */
function between(points, chainage, widest) {
  for (let k = 1; k < points.length; k += 1) {
    const [upper, high] = points[k - 1];
    const [lower, low] = points[k];
    if (chainage <= upper && chainage >= lower && upper - lower <= widest) {
      return upper === lower ? low : low + ((high - low) * (chainage - lower)) / (upper - lower);
    }
  }
  return null;
}

function said(value, places = 2) {
  return value === null || value === undefined ? "–" : `${value.toFixed(places).replace("-", "−")} m`;
}

function reader(facts, at) {
  const piece = facts.pieces.find((one) => at <= one.upper && at >= one.lower);
  const ground = between(facts.ground, at, facts.widest);
  const along = (ends) =>
    !piece || ends.some((level) => level === null)
      ? null
      : ends[1] + ((ends[0] - ends[1]) * (at - piece.lower)) / (piece.upper - piece.lower);
  const invert = piece ? along([piece.upperInvert, piece.lowerInvert]) : null;
  const depth = ground === null || invert === null ? null : ground - invert;
  return {
    chainage: `${at.toFixed(1)} m`,
    drain: piece ? piece.words : "–",
    ground: said(ground),
    invert: said(invert),
    depth: said(depth),
    cover: said(depth === null || !piece.bore ? null : depth - piece.bore),
    water: said(piece ? along([piece.upperWater, piece.lowerWater]) : null),
  };
}

function start() {
  const figure = document.querySelector("[data-section]");
  const drawing = figure?.querySelector("svg");
  const data = document.getElementById("section-facts");
  const slider = document.querySelector("[data-slider]");
  if (!drawing || !data || !slider) return;
  const facts = JSON.parse(data.textContent);
  const [left, right, top, bottom] = drawing.dataset.frame.split(" ").map(Number);
  const cursor = document.createElementNS("http://www.w3.org/2000/svg", "line");
  cursor.setAttribute("class", "section-cursor");
  cursor.setAttribute("y1", top);
  cursor.setAttribute("y2", bottom);
  drawing.append(cursor);

  const show = (chainage) => {
    const at = Math.min(facts.length, Math.max(0, chainage));
    const x = left + ((right - left) * (facts.length - at)) / facts.length;
    cursor.setAttribute("x1", x);
    cursor.setAttribute("x2", x);
    const words = reader(facts, at);
    for (const cell of document.querySelectorAll("[data-reads]")) {
      cell.textContent = words[cell.dataset.reads];
    }
    slider.setAttribute(
      "aria-valuetext",
      `${words.chainage} from the outfall, ground ${words.ground}, invert ${words.invert}, depth ${words.depth}`,
    );
  };
  const point = (event) => {
    const place = new DOMPoint(event.clientX, event.clientY).matrixTransform(
      drawing.getScreenCTM().inverse(),
    );
    const at = facts.length * (1 - (place.x - left) / (right - left));
    const kept = Math.min(facts.length, Math.max(0, at));
    slider.value = String(facts.length - kept);
    show(kept);
  };
  // The slider runs as the drawing does: its left end is the top of the drain.
  slider.addEventListener("input", () => show(facts.length - Number(slider.value)));
  drawing.addEventListener("pointermove", point);
  drawing.addEventListener("pointerdown", point);
  document.querySelector("[data-section-reading]").hidden = false;
  show(facts.length);
}

start();
