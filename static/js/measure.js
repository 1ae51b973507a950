// Levels taken on the bank. Each goes into this phone's own store first, under a number made here, and
// from there to the club in its order. What it says of the fall is worked out here, before the trench
// is closed and whether there is signal or not; the club works it out again from the kept rows.
import { keepPage, makeSender, newNumber, openStore, post } from "./phone-queue.js";

const data = JSON.parse(document.getElementById("measure-data").textContent);
const at = (id) => document.getElementById(id);
const SHOWN_FIRST = 6;
const SAVE = "Keep this level";
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
let moving = null;
let sure = "";
const kept = new Map();

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
const farWords = (metres) => (metres > 5000 ? `${Math.round(metres / 1000)} km` : `${Math.round(metres)} m`);
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

const samePlace = (one, other) => one.of === other.of && Math.abs(one.chainage - other.chainage) <= data.limits.samePlace;

// What the club has and what waits here, along the drain; of several at one place the latest holds.
function levelsOn(drain, besides = {}) {
  const waiting = rows
    .filter((row) => row.drain === drain.uuid && row.client_id !== besides.client_id && row.invert !== null && row.state === "waiting")
    .map((row) => ({ chainage: row.at, level: row.invert.level, accuracy: row.invert.accuracy, of: row.of, mine: data.me, by: data.name, waits: true }));
  const corrected = new Set(rows.filter((row) => row.state === "waiting").map((row) => row.corrects));
  const standing = drain.levels.filter((one) => !corrected.has(one.uuid) && one.uuid !== besides.corrects && !waiting.some((later) => samePlace(one, later)));
  const latest = waiting.filter((one, n) => !waiting.slice(n + 1).some((later) => samePlace(one, later)));
  return [...standing, ...latest].sort((a, b) => a.chainage - b.chainage);
}

// The ground above a chainage, from its levels at even steps; null where it is not known.
function groundAt(drain, chainage) {
  const steps = (drain.ground ?? []).length - 1;
  if (steps < 1) return null;
  const place = Math.min(1, Math.max(0, chainage / drain.length)) * steps;
  const n = Math.min(steps - 1, Math.floor(place));
  const [a, b] = [drain.ground[n], drain.ground[n + 1]];
  return a === null || b === null ? null : a + (place - n) * (b - a);
}

function aboveGroundWords(entry) {
  if (entry.of === "cover") return "";
  const ground = groundAt(drainOf(entry.drain), entry.at);
  if (ground === null || entry.level - ground <= data.limits.aboveGround) return "";
  return `${entry.level.toFixed(3)} m lies ${(entry.level - ground).toFixed(2)} m above the ground here (${ground.toFixed(2)} m)`;
}

// Said in feet, as the club's own look at the figure has it.
function feetWords(value, expected) {
  if (Math.abs(value - expected) <= Math.max(0.5, 0.01 * Math.abs(expected))) return "";
  const metres = value * data.limits.foot;
  if (Math.abs(metres - expected) > 0.5) return "";
  return `${value} looks like feet: in metres it would be ${metres.toFixed(2)}, and ${expected.toFixed(2)} m is expected here. Enter it in metres.`;
}

// What the club would refuse, told before it is kept: the same limits stand there.
function refusedFigure(entry, drain, away) {
  const most = data.limits;
  const field = entry.how === "peg" ? "below" : "level";
  if (entry.how === "peg" && (entry.below_peg_m < 0 || entry.below_peg_m > most.peg)) {
    return { wrong: `A depth below a peg is from 0 to ${most.peg} m; ${entry.below_peg_m} cannot be one.`, id: "below" };
  }
  const said = entry.how === "peg" ? entry.peg_level_m : entry.level_m;
  if (said < most.lowest || said > most.highest) return { wrong: `A level is metres above datum; ${said} cannot be one.`, id: entry.how === "peg" ? "peg" : "level" };
  if (away !== null && away > most.near) return { wrong: `You stand ${farWords(away)} from ${drain.name}; no more than ${most.near} m is taken. Choose the drain you stand at, or enter the chainage.`, id: "chainage" };
  if (entry.plan_accuracy_m > most.coarse) return { wrong: `The position is only good to ${Math.round(entry.plan_accuracy_m)} m, too coarse to say where along the drain it is. Enter the chainage instead.`, id: "chainage" };
  const drawn = entry.of === "cover" ? null : designAt(drain, entry.at);
  if (drawn === null) return null;
  const feet = entry.how === "peg" ? feetWords(entry.below_peg_m, entry.peg_level_m - drawn) : feetWords(entry.level, drawn);
  if (feet) return { wrong: `A ${entry.how === "peg" ? "depth" : "level"} of ${feet}`, id: field };
  const off = entry.level - drawn;
  if (Math.abs(off) <= most.offDesign) return null;
  return { wrong: `${entry.level.toFixed(3)} m lies ${Math.abs(off).toFixed(2)} m ${off > 0 ? "above" : "below"} the design here (${drawn.toFixed(2)} m). No more than ${most.offDesign} m is taken: look at the figure, the peg and the drain chosen.`, id: field };
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

// A level taken before at this place: which of both stands, and whether two people disagree.
function againWords(before, mine, drain) {
  const slope = (designAt(drain, mine.chainage) ?? 0) - (designAt(drain, before.chainage) ?? 0);
  const apart = mine.level - before.level - slope;
  const doubt = Math.hypot(before.accuracy ?? data.usual, mine.accuracy ?? data.usual);
  const was = `${before.level.toFixed(3)} m${before.file ? ` in ${before.file}` : before.by ? ` by ${before.by}` : ""}`;
  const another = before.file || before.mine !== data.me;
  if (another && Math.abs(apart) > doubt) return { stop: true, words: `Two people's levels do not agree here: ${was}, and yours ${mm(apart)} ${apart > 0 ? "higher" : "lower"}. Yours stands as the later one; take it again` };
  return { words: `Taken again: it stands for ${was}` };
}

function answerFor(entry) {
  const drain = drainOf(entry.drain);
  const invert = entry.invert;
  const lines = [];
  if (invert === null) return [{ words: entry.of === "cover" ? "Kept as the cover or ground level." : "Its invert cannot be told: no bore is entered for this pipe." }];
  const drawn = designAt(drain, entry.at);
  const mine = { chainage: entry.at, level: invert.level, accuracy: invert.accuracy };
  const high = aboveGroundWords(entry);
  if (high) return [{ stop: true, words: `${high}: are you sure? Nothing is said of the fall` }];
  const there = levelsOn(drain, entry);
  const before = there.filter((one) => samePlace(one, { chainage: entry.at, of: entry.of })).at(-1);
  if (before) lines.push(againWords(before, mine, drain));
  const taken = there.filter((one) => one !== before && Math.abs(one.chainage - entry.at) > 0.05);
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

// A list is built anew under whoever is at it by keyboard: the same button has the focus again.
function keepingFocus(list, build) {
  const held = list.contains(document.activeElement) ? document.activeElement.dataset.key : undefined;
  build();
  if (held === undefined) return;
  const same = [...list.querySelectorAll("button")].find((one) => one.dataset.key === held);
  (same ?? list.querySelector("button") ?? at("which")).focus({ preventScroll: true });
}

function chips(id, list, chosen, act) {
  keepingFocus(at(id), () => putChips(id, list, chosen, act));
}

function putChips(id, list, chosen, act) {
  at(id).replaceChildren();
  for (const [key, words] of list) {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "chip";
    button.dataset.key = key;
    button.textContent = words;
    button.setAttribute("aria-pressed", key === chosen ? "true" : "false");
    button.addEventListener("click", () => act(key));
    at(id).append(button);
  }
}

function showDrains() {
  keepingFocus(at("drains"), putDrains);
}

function putDrains() {
  const sorted = here ? [...drains].sort((a, b) => awayOf(a) - awayOf(b)) : drains;
  const list = at("drains");
  list.replaceChildren();
  for (const drain of all ? sorted : sorted.slice(0, SHOWN_FIRST)) {
    const row = at("choice-template").content.cloneNode(true);
    row.querySelector("strong").textContent = drain.name;
    const away = here ? `${farWords(awayOf(drain))} away · ` : "";
    row.querySelector("small").textContent = `${away}${drain.kind}, ${drain.length.toFixed(0)} m · ${levelsOn(drain).length} levels`;
    const tag = row.querySelector(".tag");
    tag.textContent = drain.stateWords;
    tag.classList.add(drain.state);
    const button = row.querySelector("button");
    button.setAttribute("aria-pressed", draft?.drain === drain.uuid ? "true" : "false");
    button.dataset.key = drain.uuid;
    button.addEventListener("click", () => begin(drain.uuid, moving));
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
  moving = null;
  sure = "";
  tell("moving", "");
  draft = {
    client_id: newNumber(), drain: uuid, of: drain.kind === "ditch" ? "bed" : "invert", how: "level",
    where: "chainage", photo: null, ...from, drain: uuid,
  };
  if (drain.kind === "ditch" ? draft.of === "invert" || draft.of === "crown" : draft.of === "bed") draft.of = drain.kind === "ditch" ? "bed" : "invert";
  at("reason-part").hidden = !draft.corrects;
  at("reason").value = from?.reason ?? "";
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
  at("save").textContent = SAVE;
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
    tell("here-words", `Chainage ${chainageWords(found.chainage)}, ${found.away > 100 ? farWords(found.away) : `${found.away.toFixed(1)} m`} off the line, good to ± ${Math.max(1, Math.ceil(here.accuracy))} m.`);
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
  let away = null;
  if (draft.where === "here") {
    if (!here) return { wrong: "There is no position yet. Wait for it, or enter the chainage.", id: "chainage" };
    const found = onLine(drain.line, here.grid);
    away = found.away;
    place = { lon: here.lon, lat: here.lat, plan_accuracy_m: here.accuracy, at: found.chainage };
  } else {
    const chainage = number("chainage");
    if (chainage === null) return { wrong: "Enter the chainage along the drain.", id: "chainage" };
    if (Number.isNaN(chainage) || chainage < 0 || chainage > drain.length + 0.05) {
      return { wrong: `The chainage runs from 0 at the upper end to ${drain.length.toFixed(1)} m.`, id: "chainage" };
    }
    place = { chainage_m: chainage, at: chainage };
  }
  const reason = at("reason").value.trim();
  if (draft.corrects && !reason) return { wrong: "Say why: misread, wrong drain, laid again.", id: "reason" };
  const good = accuracy === null ? null : accuracy / 1000;
  if (good > 10) return { wrong: "How good the level is, in millimetres: no more than 10,000.", id: "accuracy" };
  const refused = refusedFigure({ of: draft.of, how: draft.how, ...figures, ...place, level }, drain, away);
  if (refused) return refused;
  return {
    entry: {
      ...(draft.corrects ? { corrects: draft.corrects, reason } : {}),
      client_id: draft.client_id, drain: draft.drain, name: drain.name, of: draft.of, how: draft.how, ...figures, ...place,
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
      const nearest = Math.min(...drains.map(awayOf));
      const far = drains.length > 0 && nearest > 5000 ? ` You are not at the course: the nearest drain lies ${farWords(nearest)} away.` : "";
      tell("near-words", `Position good to ± ${Math.max(1, Math.ceil(coords.accuracy))} m; nearest drains first.${far}`);
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
  at("drains").children[SHOWN_FIRST]?.querySelector("button").focus();
});
at("form").addEventListener("input", () => {
  if (!draft) return;
  showAnswer();
  sure = "";
  at("save").textContent = SAVE;
  // What was wrong is told until it is mended, and by the figure as it stands now.
  if (!at("wrong").hidden) tell("wrong", read().wrong ?? "");
});

at("form").addEventListener("submit", async (event) => {
  event.preventDefault();
  if (saving || !draft) return;
  const { entry, wrong, id } = read();
  tell("wrong", wrong ?? "");
  if (wrong) {
    at(id).focus();
    return;
  }
  const high = aboveGroundWords(entry);
  if (high && sure !== high) {
    sure = high;
    tell("wrong", `${high}. Look at the figure and the chainage; if it is right, keep it all the same.`);
    at("save").textContent = "Keep it all the same";
    return;
  }
  saving = true;
  at("save").disabled = true;
  try {
    if (!store.database) throw new Error("this browser keeps nothing for the page");
    await store.add({ ...entry, state: "waiting" });
    if (draft.n !== undefined) await store.change(draft.n, () => null);
    const told = answerFor(entry);
    last = { client_id: entry.client_id, stop: told.some((one) => one.stop), what: `${entry.name}, ${entry.level.toFixed(3)} m at chainage ${chainageWords(entry.at)}`, words: `${entry.name}, ${entry.level.toFixed(3)} m at chainage ${chainageWords(entry.at)}: ${told.map((one) => one.words).join("; ")}` };
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
    const entries = batch.map(({ n, key, state, why, tried, photo, level, invert, name, at: along, ...sent }) => sent);
    body.append("sent", JSON.stringify({ who: data.who, entries }));
    for (const row of batch) if (row.photo) body.append(`photo-${row.client_id}`, row.photo, "photo.jpg");
    return post(data.urls.intake, body);
  },
  answered(one) {
    if (one.answer === "kept") kept.set(one.client_id, one.why);
  },
  async changed(told) {
    if (told) {
      drains = told.drains;
      await store.fact("drains", { at: told.at, drains });
    } else await refresh();
  },
});

/* ---- lists ---- */

function line(list, mark, title, small, figure, why = "") {
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
    button.dataset.key = `${mark} ${words}`;
    button.setAttribute("aria-label", `${words}: ${title}`);
    button.addEventListener("click", act);
    place.append(button);
  };
}

function showTaken() {
  keepingFocus(at("taken"), putTaken);
}

function putTaken() {
  const list = at("taken");
  list.replaceChildren();
  const drain = draft ? drainOf(draft.drain) : null;
  for (const one of drain ? levelsOn(drain) : []) {
    const drawn = designAt(drain, one.chainage);
    const off = [drawn === null ? "" : `design ${drawn.toFixed(3)} m`, one.waits ? "on this phone" : one.by].filter(Boolean).join(" · ");
    const act = line(list, one.uuid ?? "", `chainage ${chainageWords(one.chainage)}`, off, `${one.level.toFixed(3)} m`);
    if (one.uuid) act("Correct", () => correct(drain, one));
  }
  if (list.children.length === 0) {
    const empty = document.createElement("li");
    empty.className = "empty";
    empty.textContent = drain ? "None yet: the first tells how it lies by the design, the second whether it falls." : "Choose a drain.";
    list.append(empty);
  }
}

// The wrong one stays with the club, struck through; this one stands in its place.
function correct(drain, one) {
  const how = data.how.some(([key]) => key === one.how) ? one.how : "level";
  begin(drain.uuid, {
    corrects: one.uuid, of: one.of, how: one.peg === null ? (how === "peg" ? "level" : how) : "peg", level_m: one.taken,
    peg_level_m: one.peg ?? undefined, below_peg_m: one.below ?? undefined, chainage_m: Number(one.chainage.toFixed(2)), level_accuracy_m: one.good,
    why: `In the place of ${one.taken.toFixed(3)} m at chainage ${chainageWords(one.chainage)}, which stays on the record, struck through.`,
  });
}

function showQueue() {
  keepingFocus(at("queue"), putQueue);
}

function putQueue() {
  const list = at("queue");
  list.replaceChildren();
  for (const row of rows) {
    const refused = row.state === "refused";
    const words = `${refused ? "not taken" : "waiting to send"}${row.photo ? " · with a photo" : ""}`;
    const act = line(list, row.client_id, `${drainOf(row.drain)?.name ?? row.name ?? "a drain"}, chainage ${chainageWords(row.at)}`, words, `${row.level.toFixed(3)} m`, row.why ?? "");
    // What may have arrived is not changed here: it is corrected on the drain's own page.
    if (row.tried && !refused) continue;
    act("Change", () => {
      const again = { ...row, client_id: newNumber(), where: row.chainage_m === undefined ? "here" : "chainage" };
      if (drainOf(row.drain)) begin(row.drain, again);
      else moveElsewhere(again);
    });
    act("Remove", async () => {
      await store.change(row.n, (now) => (now.tried && now.state === "waiting" ? now : null));
      await refresh();
    });
  }
  at("queue-part").hidden = rows.length === 0;
}

// Its drain is no longer drawn: the next drain chosen takes the level with all its figures.
function moveElsewhere(row) {
  moving = row;
  all = true;
  tell("moving", `Choose the drain for ${row.level.toFixed(3)} m at chainage ${chainageWords(row.at)}, taken on ${row.name ?? "a drain"}, which is no longer drawn.`);
  showDrains();
  at("which").focus({ preventScroll: true });
  at("which").scrollIntoView({ block: "start" });
}

function sayLast() {
  if (!last) return;
  const row = rows.find((one) => one.client_id === last.client_id);
  const kind = last.stop ? "warn" : "good";
  if (!row) {
    const remarks = kept.get(last.client_id);
    say(kept.has(last.client_id) ? `Kept. ${last.words}.${remarks ? ` ${remarks}` : ""}` : "", remarks ? "warn" : kind);
    last = null;
  } else if (row.state === "refused") say(`Not taken: ${last.what}. ${row.why} It is still on this phone; change it and keep it again.`, "warn");
  else if (link.standing === "signed out") say(`On this phone until you sign in: ${last.words}.`, last.stop ? "warn" : "");
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
  if (waiting && link.standing === "load again") words = "The page is too old to send, or you are signed out. Nothing is lost: load it again, and sign in if it asks for it.";
  else if (waiting && link.standing === "busy") words = "The club's server did not answer well. It is sent again by itself.";
  else if (waiting && link.standing) words = `${link.standing} What is here was taken by ${data.name} and waits until they sign in.`;
  else if (waiting) words = "Kept on this phone; sent by itself when there is signal.";
  at("queue-words").textContent = words;
}

function showKept() {
  const waits = rows.some((row) => row.state === "waiting");
  let words = "";
  if (link.noSignal || waits) words = waits && link.standing === "signed out" ? "Kept on this phone until you sign in." : waits ? "Kept on this phone until there is signal." : "No signal: levels you take are kept on this phone until there is.";
  if (pageNeedsSignal) words = "Levels are kept on this phone, but the page needs signal to open.";
  tell("kept-words", words);
}

async function refresh() {
  rows = await store.rows();
  if (draft && !drainOf(draft.drain)) {
    draft = null;
    at("form").hidden = true;
  }
  showQueue();
  showDrains();
  showTaken();
  showKept();
  sayLast();
  await showStanding();
}

/* ---- at the start ---- */

// Without signal a link would end in the browser's own error; the pages kept on the phone open.
document.querySelector(".phone-foot").addEventListener("click", (event) => {
  const leaving = event.target.closest("a:not([data-kept]), button");
  if (!leaving || !(link.noSignal || !navigator.onLine)) return;
  event.preventDefault();
  say(`No signal: “${leaving.textContent.trim()}” opens when there is. Nothing here is lost.`);
  at("say").scrollIntoView({ block: "nearest" });
});

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
