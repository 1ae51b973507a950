// Draws the page's charts and shows what other hours would move.
import "../vendor/vega/vega-embed.js";

const TOKENS = ["sheet", "ink", "soft", "rule", "hairline", "accent", "good", "water"];
const LIGHT = {
  sheet: "#fbf9f3", ink: "#1a2320", soft: "#59645d", rule: "#cdc5b2",
  hairline: "#e2dccd", accent: "#7b2d43", good: "#2f6b4f", water: "#1d6a86",
};
const NARROW_PX = 620;
const READABLE_PX = 720;

/** The specification with the page's own colours in place of the printed sheet's. */
function inPageColours(text) {
  const style = getComputedStyle(document.documentElement);
  const own = new Map(TOKENS.map((name) => [LIGHT[name], style.getPropertyValue(`--${name}`).trim()]));
  return JSON.parse(text.replace(/#[0-9a-f]{6}/g, (colour) => own.get(colour) || colour));
}

/** For a phone: names above their bars instead of beside them, and no words after the bars. */
function forNarrow(spec) {
  const layers = spec.layer
    .filter((layer) => layer.encoding.text?.field !== "note")
    .map((layer) => {
      const y = layer.encoding.y;
      if (!y?.axis) return layer;
      const axis = { ...y.axis, labelAlign: "left", labelPadding: -4, labelOffset: -12, labelLimit: 300, zindex: 1 };
      return { ...layer, encoding: { ...layer.encoding, y: { ...y, axis } } };
    });
  return { ...spec, height: { step: 40 }, layer: layers };
}

/** Rows times their step in pixels, said outright: a step cannot stand beside a fitted width. */
function heightOf(spec) {
  if (typeof spec.height === "number") return spec.height;
  const rows = spec.layer.find((layer) => layer.encoding.y?.scale?.domain).encoding.y.scale.domain;
  return rows.length * spec.height.step;
}

async function draw(text) {
  const specs = inPageColours(text);
  for (const place of document.querySelectorAll("[data-chart]")) {
    const whole = specs[place.dataset.chart];
    if (!whole) continue;
    const isNarrow = place.clientWidth < NARROW_PX && place.dataset.chart === "winters";
    const spec = isNarrow ? forNarrow(whole) : whole;
    const width = isNarrow ? place.clientWidth - 8 : Math.max(place.clientWidth - 8, READABLE_PX);
    const sized = { ...spec, width, height: heightOf(spec), autosize: { type: "fit-x", contains: "padding" } };
    await window.vegaEmbed(place, sized, {
      ast: true, actions: false, defaultStyle: false, renderer: "svg",
      tooltip: { disableDefaultStyle: true },
    });
  }
}

const data = document.getElementById("charts");
if (data) {
  draw(data.textContent);
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => draw(data.textContent));
  let width = innerWidth;
  let waiting;
  addEventListener("resize", () => {
    if (innerWidth === width) return;
    width = innerWidth;
    clearTimeout(waiting);
    waiting = setTimeout(() => draw(data.textContent), 150);
  });
}

const form = document.querySelector("[data-try]");
const answer = document.querySelector("[data-tried]");
if (form && answer) {
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const button = form.querySelector("button");
    button.disabled = true;
    try {
      const address = `${form.action}?${new URLSearchParams(new FormData(form))}`;
      const reply = await fetch(address, { headers: { "X-Part": "moves" } });
      if (!reply.ok && reply.status !== 422) throw new Error(reply.statusText);
      answer.innerHTML = await reply.text();
    } catch {
      answer.textContent = "The answer did not come back. Check the connection and try again; nothing was changed.";
    } finally {
      button.disabled = false;
    }
  });
}
