// Levels taken on the bank. Each goes into this phone's own store first, under a number made here, and
// from there to the club in its order. What it says of the fall is worked out here, before the trench
// is closed and whether there is signal or not; the club works it out again from the kept rows.
import { keepPage, makeSender, newNumber, openStore, post } from "./phone-queue.js";

const data = JSON.parse(document.getElementById("measure-data").textContent);
const at = (id) => document.getElementById(id);
const SHOWN_FIRST = 6;
const LONGEST_SIDE = 1600;
const store = await openStore("worksprog-levels", data.club, data.who);

let drains = data.drains;
let rows = [];
let draft = null;
let all = false;
let here = null;
let saving = false;
let pageNeedsSignal = false;
let last = null;
const kept = new Set();

/* ---- the ground in figures ---- */

// Easting and northing of a place in degrees, by the polynomials that came with the page.
function inGrid(lon, lat) {
  const x = lon - data.fit.at[0];
  const y = lat - data.fit.at[1];
  const terms = [1, x, y, x * x, x * y, y * y];
  const of = (row) => row.reduce((sum, value, n) => sum + value * terms[n], 0);
  return [of(data.fit.east), of(data.fit.north)];
}

function onLine(line, [px, py]) {
  let best = { away: Infinity, chainage: 0 };
  let along = 0;
  for (let n = 1; n < line.length; n += 1) {
    const [ax, ay] = line[n - 1];
    const [bx, by] = line[n];
    const length = Math.hypot(bx - ax, by - ay);
    const share = length ? Math.max(0, Math.min(1, ((px - ax) * (bx - ax) + (py - ay) * (by - ay)) / length ** 2)) : 0;
    const away = Math.hypot(px - ax - share * (bx - ax), py - ay - share * (by - ay));
    if (away < best.away) best = { away, chainage: along + share * length };
    along += length;
  }
  return best;
}

const drainOf = (uuid) => drains.find((one) => one.uuid === uuid);
const awayOf = (drain) => (here ? onLine(drain.line, here.grid).away : 0);
const mm = (metres) => `${Math.round(Math.abs(metres) * 1000)} mm`;
const chainageWords = (value) => value.toFixed(1).replace(/\.0$/, "");
const number = (id) => {
  const typed = at(id).value.trim().replace(",", ".");
  return typed === "" ? null : /^[-+]?\d*\.?\d+$|^[-+]?\d+\.$/.test(typed) ? Number(typed) : NaN;
};

function designAt(drain, chainage) {
  if (drain.up === null || drain.down === null) return null;
  return drain.up + Math.min(1, Math.max(0, chainage / drain.length)) * (drain.down - drain.up);
}

// The invert that a level gives, and its ±; null for a cover, or a top of pipe without a bore.
function invertOf(drain, of, level, accuracy) {
  if (of === "cover") return null;
  if (of !== "crown") return { level, accuracy };
  if (!drain.bore) return null;
  if (drain.wall !== null) return { level: level - drain.bore - drain.wall, accuracy };
  const doubt = data.wall.doubt * drain.bore;
  return { level: level - drain.bore * (1 + data.wall.share), accuracy: Math.hypot(accuracy, doubt) };
}

// What the club has and what waits here, along the drain; of two at one place the last holds.
function levelsOn(drain, besides) {
  const waiting = rows
    .filter((row) => row.drain === drain.uuid && row.client_id !== besides && row.invert !== null && row.state === "waiting")
    .map((row) => ({ chainage: row.at, level: row.invert.level, accuracy: row.invert.accuracy }));
  const sorted = [...drain.levels, ...waiting].sort((a, b) => a.chainage - b.chainage);
  return sorted.filter((one, n) => n + 1 === sorted.length || sorted[n + 1].chainage - one.chainage > 0.05);
}

// Between an upper and a lower level: what it says of the fall.
function fallWords(upper, lower, from, to) {
  const fall = upper.level - lower.level;
  const doubt = Math.hypot(upper.accuracy ?? data.usual, lower.accuracy ?? data.usual);
  if (fall < -doubt) return { stop: true, words: `Stop: backfall of ${mm(fall)} ${from ?? to}` };
  if (fall <= doubt) {
    return { words: `Whether it falls ${from ?? to} cannot be told: it ${fall < 0 ? "rises" : "falls"} ${mm(fall)}, within ± ${mm(doubt)}` };
  }
  const length = lower.chainage - upper.chainage;
  return { words: `Falls ${mm(fall)} ${from ?? to}, 1 in ${Math.round(length / fall)}` };
}

function answerFor(entry) {
  const drain = drainOf(entry.drain);
  const invert = entry.invert;
  const lines = [];
  if (invert === null) return [{ words: entry.of === "cover" ? "Kept as the cover or ground level." : "Its invert cannot be told: no bore is entered for this pipe." }];
  const drawn = designAt(drain, entry.at);
  const mine = { chainage: entry.at, level: invert.level, accuracy: invert.accuracy };
  const taken = levelsOn(drain, entry.client_id).filter((one) => Math.abs(one.chainage - entry.at) > 0.05);
  const above = taken.filter((one) => one.chainage < entry.at).at(-1);
  const below = taken.find((one) => one.chainage > entry.at);
  if (above) lines.push(fallWords(above, mine, `since chainage ${chainageWords(above.chainage)}`));
  if (below) lines.push(fallWords(mine, below, null, `down to chainage ${chainageWords(below.chainage)}`));
  if (!above && !below) lines.push({ words: "The first level here: the next one tells whether it falls" });
  if (drawn !== null) {
    const off = invert.level - drawn;
    const doubt = invert.accuracy ?? data.usual;
    lines.push({ words: Math.abs(off) <= doubt ? `As drawn, within ± ${mm(doubt)}` : `${mm(off)} ${off > 0 ? "higher" : "lower"} than drawn` });
  }
  return lines.sort((a, b) => Number(Boolean(b.stop)) - Number(Boolean(a.stop)));
}

/* ---- what is on the page ---- */

function tell(id, words) {
  at(id).hidden = !words;
  at(id).textContent = words;
}

function say(words, kind = "") {
  at("say").replaceChildren();
  if (!words) return;
  const notice = document.createElement("p");
  notice.className = `notice ${kind}`.trim();
  notice.textContent = words;
  at("say").append(notice);
}

function chips(id, list, chosen, act) {
  at(id).replaceChildren();
  for (const [key, words] of list) {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "chip";
    button.textContent = words;
    button.setAttribute("aria-pressed", key === chosen ? "true" : "false");
    button.addEventListener("click", () => act(key));
    at(id).append(button);
  }
}

function showDrains() {
  const sorted = here ? [...drains].sort((a, b) => awayOf(a) - awayOf(b)) : drains;
  const list = at("drains");
  list.replaceChildren();
  for (const drain of all ? sorted : sorted.slice(0, SHOWN_FIRST)) {
    const row = at("choice-template").content.cloneNode(true);
    row.querySelector("strong").textContent = drain.name;
    const away = here ? `${Math.round(awayOf(drain))} m away · ` : "";
    row.querySelector("small").textContent = `${away}${drain.kind}, ${drain.length.toFixed(0)} m · ${levelsOn(drain).length} levels`;
    const tag = row.querySelector(".tag");
    tag.textContent = drain.stateWords;
    tag.classList.add(drain.state);
    const button = row.querySelector("button");
    button.setAttribute("aria-pressed", draft?.drain === drain.uuid ? "true" : "false");
    button.addEventListener("click", () => begin(drain.uuid));
    list.append(row);
  }
  if (drains.length === 0) {
    const empty = document.createElement("li");
    empty.className = "empty";
    empty.textContent = "No pipe or ditch is drawn yet. The course manager draws them on the map.";
    list.append(empty);
  }
  at("more").hidden = all || drains.length <= SHOWN_FIRST;
}

function begin(uuid, from = null) {
  const drain = drainOf(uuid);
  draft = {
    client_id: newNumber(), drain: uuid, of: drain.kind === "ditch" ? "bed" : "invert", how: "level",
    where: "chainage", photo: null, ...from,
  };
  const fill = (id, value) => {
    at(id).value = value ?? "";
  };
  fill("level", from?.level_m);
  fill("peg", from?.peg_level_m ?? data.lastPeg);
  fill("below", from?.below_peg_m);
  fill("chainage", from?.chainage_m);
  fill("accuracy", from?.level_accuracy_m != null ? Math.round(from.level_accuracy_m * 1000) : data.usual * 1000);
  fill("note", from?.note);
  at("photo").value = "";
  tell("photo-words", draft.photo ? "The photo taken before is still with it." : "");
  tell("form-why", from?.why ?? "");
  tell("wrong", "");
  at("form").hidden = false;
  showDrains();
  showForm();
  showTaken();
  at("form-title").focus({ preventScroll: true });
  at("form").scrollIntoView({ block: "nearest" });
}

function showForm() {
  const drain = drainOf(draft.drain);
  at("form-title").textContent = drain.name;
  const of = drain.kind === "ditch" ? data.of.filter(([key]) => key !== "crown" && key !== "invert") : data.of.filter(([key]) => key !== "bed");
  chips("of", of, draft.of, (key) => {
    draft.of = key;
    showForm();
  });
  chips("how", data.how, draft.how, (key) => {
    draft.how = key;
    showForm();
  });
  const peg = draft.how === "peg";
  at("level-part").hidden = peg;
  for (const one of document.querySelectorAll(".peg")) one.hidden = !peg;
  chips("where", [["chainage", "by chainage"], ["here", "where I stand"]], draft.where, (key) => {
    draft.where = key;
    if (key === "here") locate();
    showForm();
  });
  at("chainage-part").hidden = draft.where === "here";
  if (draft.where === "here" && here) {
    const found = onLine(drain.line, here.grid);
    tell("here-words", `Chainage ${chainageWords(found.chainage)}, ${found.away.toFixed(1)} m off the line, good to ± ${Math.round(here.accuracy)} m.`);
  } else tell("here-words", draft.where === "here" ? "Looking for your position." : "");
  showAnswer();
}

function showAnswer() {
  const { entry } = read();
  const place = at("answer");
  place.hidden = !entry;
  place.className = "";
  place.replaceChildren();
  if (!entry) return;
  for (const one of answerFor(entry)) {
    const words = document.createElement("p");
    words.textContent = `${one.words}.`;
    place.append(words);
    if (one.stop) place.className = "stop";
  }
}

// The entry as it would be kept, or what is still wrong with it.
function read() {
  const drain = drainOf(draft.drain);
  const figures = {};
  const wanted = draft.how === "peg" ? [["peg", "peg_level_m", "the level of the peg"], ["below", "below_peg_m", "the depth below it"]] : [["level", "level_m", "the level"]];
  for (const [id, name, words] of wanted) {
    const value = number(id);
    if (value === null) return { wrong: `Enter ${words} in metres.`, id };
    if (Number.isNaN(value)) return { wrong: `“${at(id).value}” is no number: enter ${words} in metres, such as 62.115.`, id };
    figures[name] = value;
  }
  const level = draft.how === "peg" ? figures.peg_level_m - figures.below_peg_m : figures.level_m;
  const accuracy = number("accuracy");
  if (Number.isNaN(accuracy) || accuracy < 0) return { wrong: "How good the level is, in millimetres: a number such as 10.", id: "accuracy" };
  let place;
  if (draft.where === "here") {
    if (!here) return { wrong: "There is no position yet. Wait for it, or enter the chainage.", id: "chainage" };
    place = { lon: here.lon, lat: here.lat, plan_accuracy_m: here.accuracy, at: onLine(drain.line, here.grid).chainage };
  } else {
    const chainage = number("chainage");
    if (chainage === null) return { wrong: "Enter the chainage along the drain.", id: "chainage" };
    if (Number.isNaN(chainage) || chainage < 0 || chainage > drain.length + 0.05) {
      return { wrong: `The chainage runs from 0 at the upper end to ${drain.length.toFixed(1)} m.`, id: "chainage" };
    }
    place = { chainage_m: chainage, at: chainage };
  }
  const good = accuracy === null ? null : accuracy / 1000;
  return {
    entry: {
      client_id: draft.client_id, drain: draft.drain, of: draft.of, how: draft.how, ...figures, ...place,
      level_accuracy_m: good, level, invert: invertOf(drain, draft.of, level, good ?? data.usual),
      measured_on: new Intl.DateTimeFormat("en-CA", { timeZone: data.timeZone, year: "numeric", month: "2-digit", day: "2-digit" }).format(new Date()),
      note: at("note").value.trim(), photo: draft.photo,
    },
  };
}

function locate() {
  if (!("geolocation" in navigator)) {
    tell("near-words", "This phone gives no position to the page. Choose the drain, and enter the chainage.");
    return;
  }
  navigator.geolocation.getCurrentPosition(
    ({ coords }) => {
      here = { lon: coords.longitude, lat: coords.latitude, accuracy: coords.accuracy, grid: inGrid(coords.longitude, coords.latitude) };
      tell("near-words", `Position good to ± ${Math.round(coords.accuracy)} m; nearest drains first.`);
      showDrains();
      if (draft) showForm();
    },
    () => {
      tell("near-words", "No position: it was not allowed, or there is none here. Choose the drain, and enter the chainage.");
      if (draft?.where === "here") {
        draft.where = "chainage";
        showForm();
      }
    },
    { enableHighAccuracy: true, timeout: 20_000, maximumAge: 5000 },
  );
}

// Drawn anew at a smaller size, which also leaves behind what the camera wrote into the file.
async function small(file) {
  const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
  const share = Math.min(1, LONGEST_SIDE / Math.max(picture.width, picture.height));
  const canvas = document.createElement("canvas");
  canvas.width = Math.max(1, Math.round(picture.width * share));
  canvas.height = Math.max(1, Math.round(picture.height * share));
  canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
  picture.close();
  return new Promise((resolve, reject) => {
    canvas.toBlob((blob) => (blob ? resolve(blob) : reject(new Error("no picture"))), "image/jpeg", 0.85);
  });
}

at("photo").addEventListener("change", async (event) => {
  const [file] = event.target.files;
  if (!draft || !file) return;
  const mine = draft;
  tell("photo-words", "Making it smaller.");
  try {
    mine.photo = await small(file);
    tell("photo-words", `Photo of ${Math.round(mine.photo.size / 1024)} kB is kept with the level, without its place.`);
  } catch {
    mine.photo = null;
    event.target.value = "";
    tell("photo-words", "That file is no photo that can be read. The level can be kept without one.");
  }
});

at("near").addEventListener("click", () => {
  tell("near-words", "Looking for your position.");
  locate();
});
at("more").addEventListener("click", () => {
  all = true;
  showDrains();
});
at("form").addEventListener("input", () => draft && showAnswer());

at("form").addEventListener("submit", async (event) => {
  event.preventDefault();
  if (saving || !draft) return;
  const { entry, wrong, id } = read();
  tell("wrong", wrong ?? "");
  if (wrong) {
    at(id).focus();
    return;
  }
  saving = true;
  at("save").disabled = true;
  try {
    if (!store.database) throw new Error("this browser keeps nothing for the page");
    await store.add({ ...entry, state: "waiting" });
    if (draft.n !== undefined) await store.change(draft.n, () => null);
    const told = answerFor(entry);
    last = { client_id: entry.client_id, stop: told.some((one) => one.stop), words: `${drainOf(entry.drain).name}, ${entry.level.toFixed(3)} m at chainage ${chainageWords(entry.at)}: ${told.map((one) => one.words).join("; ")}` };
    if (entry.peg_level_m !== undefined) data.lastPeg = entry.peg_level_m;
    const drain = entry.drain;
    navigator.storage?.persist?.();
    begin(drain, { how: entry.how, of: entry.of, where: draft.where, level_accuracy_m: entry.level_accuracy_m });
  } catch (error) {
    last = null;
    say(`It could not be kept on this phone (${error?.message ?? error}). It is still here; try again.`, "warn");
  } finally {
    saving = false;
    at("save").disabled = false;
  }
  await refresh();
  at("say").scrollIntoView({ block: "nearest" });
  send();
});

/* ---- sending ---- */

const { link, send, keepSending } = makeSender({
  store,
  lock: "levels",
  atOnce: data.atOnce,
  post(batch) {
    const body = new FormData();
    const entries = batch.map(({ n, key, state, why, tried, photo, level, invert, at: along, ...sent }) => sent);
    body.append("sent", JSON.stringify({ who: data.who, entries }));
    for (const row of batch) if (row.photo) body.append(`photo-${row.client_id}`, row.photo, "photo.jpg");
    return post(data.urls.intake, body);
  },
  answered(one) {
    if (one.answer === "kept") kept.add(one.client_id);
  },
  async changed(told) {
    if (told) {
      drains = told.drains;
      await store.fact("drains", { at: told.at, drains });
    } else await refresh();
  },
});

/* ---- lists ---- */

function line(list, title, small, figure, why = "") {
  const made = at("logged-template").content.cloneNode(true);
  const smalls = made.querySelectorAll("small");
  made.querySelector("strong").textContent = title;
  smalls[0].textContent = small;
  smalls[1].textContent = why;
  made.querySelector(".fig").textContent = figure;
  const place = made.querySelector(".logged-do");
  list.append(made);
  return (words, act) => {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = words;
    button.setAttribute("aria-label", `${words}: ${title}`);
    button.addEventListener("click", act);
    place.append(button);
  };
}

function showTaken() {
  const list = at("taken");
  list.replaceChildren();
  const drain = draft ? drainOf(draft.drain) : null;
  for (const one of drain ? levelsOn(drain) : []) {
    const drawn = designAt(drain, one.chainage);
    const off = drawn === null ? "" : `design ${drawn.toFixed(3)} m`;
    line(list, `chainage ${chainageWords(one.chainage)}`, off, `${one.level.toFixed(3)} m`);
  }
  if (list.children.length === 0) {
    const empty = document.createElement("li");
    empty.className = "empty";
    empty.textContent = drain ? "None yet: the first tells how it lies by the design, the second whether it falls." : "Choose a drain.";
    list.append(empty);
  }
}

function showQueue() {
  const list = at("queue");
  list.replaceChildren();
  for (const row of rows) {
    const refused = row.state === "refused";
    const words = `${refused ? "not taken" : "waiting to send"}${row.photo ? " · with a photo" : ""}`;
    const act = line(list, `${drainOf(row.drain)?.name ?? "a drain"}, chainage ${chainageWords(row.at)}`, words, `${row.level.toFixed(3)} m`, row.why ?? "");
    // What may have arrived is not changed here: it is corrected on the drain's own page.
    if (row.tried && !refused) continue;
    if (drainOf(row.drain)) {
      act("Change", () => begin(row.drain, { ...row, client_id: newNumber(), where: row.chainage_m === undefined ? "here" : "chainage" }));
    }
    act("Remove", async () => {
      await store.change(row.n, (now) => (now.tried && now.state === "waiting" ? now : null));
      await refresh();
    });
  }
  at("queue-part").hidden = rows.length === 0;
}

function sayLast() {
  if (!last) return;
  const row = rows.find((one) => one.client_id === last.client_id);
  const kind = last.stop ? "warn" : "good";
  if (!row) {
    say(kept.has(last.client_id) ? `Kept. ${last.words}.` : "", kind);
    last = null;
  } else if (row.state === "refused") say(`Not taken: ${last.words}. ${row.why} It is still on this phone; change it and keep it again.`, "warn");
  else if (link.standing) say(`On this phone, not sent yet: ${last.words}. Why stands under “On this phone”.`, last.stop ? "warn" : "");
  else if (link.noSignal) say(`Kept on this phone until there is signal: ${last.words}.`, last.stop ? "warn" : "");
  else say(`Kept on this phone, sending: ${last.words}.`, last.stop ? "warn" : "");
}

async function showStanding() {
  const waiting = rows.filter((row) => row.state === "waiting").length;
  const refused = rows.length - waiting;
  const parts = [];
  if (waiting) parts.push(`${waiting} waiting to send`);
  if (refused) parts.push(`${refused} to mend`);
  const others = await store.others();
  if (others) parts.push(`${others} of another person on this phone`);
  at("standing").textContent = parts.join(" · ");
  let words = refused ? "What was not taken is still here. Change it, or remove it." : "";
  at("queue-words").replaceChildren();
  if (waiting && link.standing === "signed out") {
    const anchor = document.createElement("a");
    anchor.href = data.urls.page;
    anchor.textContent = "Sign in";
    at("queue-words").append("You are signed out. Nothing is lost: sign in and it is sent. ", anchor);
    return;
  }
  if (waiting && link.standing === "load again") words = "The page is too old to send. Nothing is lost: load it again.";
  else if (waiting && link.standing === "busy") words = "The club's server did not answer well. It is sent again by itself.";
  else if (waiting && link.standing) words = `${link.standing} What is here was taken by ${data.name} and waits until they sign in.`;
  else if (waiting) words = "Kept on this phone; sent by itself when there is signal.";
  at("queue-words").textContent = words;
}

function showKept() {
  const waits = rows.some((row) => row.state === "waiting");
  let words = "";
  if (link.noSignal || waits) words = waits ? "Kept on this phone until there is signal." : "No signal: levels you take are kept on this phone until there is.";
  if (pageNeedsSignal) words = "Levels are kept on this phone, but the page needs signal to open.";
  tell("kept-words", words);
}

async function refresh() {
  rows = await store.rows();
  showQueue();
  showDrains();
  showTaken();
  showKept();
  sayLast();
  await showStanding();
}

/* ---- at the start ---- */

const known = await store.fact("drains").catch(() => undefined);
if (known && known.at > data.at) drains = known.drains;
if (!store.database) say("This browser keeps nothing for the page, so levels cannot be taken here. A private window does that; open an ordinary one.", "warn");
await refresh();
const asked = new URLSearchParams(location.search).get("drain");
if (asked && drainOf(asked)) begin(asked);
document.documentElement.dataset.ready = "yes";
keepSending();
keepPage(data.urls, () => {
  pageNeedsSignal = true;
  showKept();
});
