// Draws the S-curves from the specifications in the page.
import "../vendor/vega/vega-embed.js";

const PRINTED = {
  "#fbf9f3": "--sheet", "#1a2320": "--ink", "#59645d": "--soft", "#cdc5b2": "--rule",
  "#e2dccd": "--hairline", "#7b2d43": "--accent", "#2f6b4f": "--good", "#1d6a86": "--water",
};
const READABLE_PX = 300;

// The page's own colours in place of the printed sheet's: the dark scheme has others.
function inPageColours(text) {
  const style = getComputedStyle(document.documentElement);
  return text.replace(/#[0-9a-f]{6}/g, (colour) => style.getPropertyValue(PRINTED[colour] ?? "").trim() || colour);
}

const text = document.getElementById("charts").textContent;

async function draw() {
  const specs = JSON.parse(inPageColours(text));
  for (const place of document.querySelectorAll("[data-chart]")) {
    const width = Math.max(place.clientWidth - 8, READABLE_PX);
    const spec = { ...specs[place.dataset.chart], width, autosize: { type: "fit-x", contains: "padding" } };
    await window.vegaEmbed(place, spec, {
      ast: true, actions: false, defaultStyle: false, renderer: "svg", tooltip: { disableDefaultStyle: true },
    });
    place.dataset.drawn = "yes";
  }
}

draw();
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", draw);
let drawnAt = innerWidth;
let waiting;
addEventListener("resize", () => {
  clearTimeout(waiting);
  waiting = setTimeout(() => {
    if (innerWidth !== drawnAt) draw();
    drawnAt = innerWidth;
  }, 150);
});
