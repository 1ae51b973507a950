// Keeps one run's page true while its job is at work; without this the "Look again" link does.
const page = document.getElementById("run");
const SHORTEST_MS = 700;
const LONGEST_MS = 5000;
let wait = SHORTEST_MS;

function show(facts) {
  for (const place of page.querySelectorAll("[data-fact]")) {
    const words = String(facts[place.dataset.fact]);
    if (place.textContent !== words) place.textContent = words;
  }
  page.querySelector("progress").value = facts.percent;
  for (const place of page.querySelectorAll("[data-when]")) {
    place.hidden = !facts[place.dataset.when];
    if (place.dataset.when === "address") place.href = facts.address || "#";
  }
  page.querySelector("[data-when-open]").hidden = facts.ended;
  page.dataset.ended = facts.ended ? "yes" : "no";
}

async function look() {
  const lost = page.querySelector(".run-lost");
  try {
    const answer = await fetch(page.dataset.stateUrl, { headers: { Accept: "application/json" } });
    if (!answer.ok || answer.redirected) throw new Error(`status ${answer.status}`);
    const before = page.querySelector("[data-fact=words]").textContent;
    const facts = await answer.json();
    show(facts);
    lost.classList.add("hidden");
    if (facts.ended) return;
    wait = facts.words === before ? Math.min(wait * 1.3, LONGEST_MS) : SHORTEST_MS;
  } catch {
    lost.classList.remove("hidden");
    wait = LONGEST_MS;
  }
  window.setTimeout(look, wait);
}

window.setTimeout(look, wait);
