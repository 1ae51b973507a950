// The crew's page. What is saved goes into this phone's own store first, under a number made here, and
// from there to the club in its order; the club knows a number it has seen, so nothing is logged twice.
import { keepPage, makeSender, newNumber, openStore, post } from "./phone-queue.js";

const data = JSON.parse(document.getElementById("hours-data").textContent);
const at = (id) => document.getElementById(id);
const HOLD_MS = 450;
const REPEAT_MS = 90;
const store = await openStore("worksprog-hours", data.club, data.who);

/* ---- days and words ---- */

const DAY_PARTS = { weekday: "short", day: "numeric", month: "short", timeZone: "UTC" };
const dayNames = new Intl.DateTimeFormat("en-GB", DAY_PARTS);
const dayNamesWithYear = new Intl.DateTimeFormat("en-GB", { ...DAY_PARTS, year: "numeric" });
const clubDay = new Intl.DateTimeFormat("en-CA", { timeZone: data.timeZone, year: "numeric", month: "2-digit", day: "2-digit" });

const today = () => clubDay.format(new Date());
const dayBack = (days) => new Date(Date.parse(today()) - days * 86_400_000).toISOString().slice(0, 10);
function dayWords(day) {
  const names = day.slice(0, 4) === today().slice(0, 4) ? dayNames : dayNamesWithYear;
  return names.format(new Date(day)).replace(",", "");
}
const number = (value) => String(Math.round(value * 100) / 100);
const amount = (value, unit) => `${value.toLocaleString("en-GB", { maximumFractionDigits: 1 })} ${unit}`.trim();

function quantityWords(row) {
  const job = jobOf(row.item);
  return row.quantity ? `${number(row.quantity)} ${job?.unit ?? ""}`.trim() : "";
}

const jobOf = (uuid) => data.jobs.find((job) => job.uuid === uuid);
const groundWords = (key) => data.ground.find((one) => one.key === key)?.words ?? "";

/* ---- what is on the page ---- */

let recent = data.recent;
let rows = [];
let draft = null;
let saving = false;
let pageNeedsSignal = false;
// What was saved last, until the club has answered for it.
let last = null;
const kept = new Set();

function say(words, kind = "", act = null) {
  const place = at("say");
  place.replaceChildren();
  if (!words) return;
  const notice = document.createElement("p");
  notice.className = `notice ${kind}`.trim();
  notice.textContent = words;
  place.append(notice);
  if (!act) return;
  const button = document.createElement("button");
  button.type = "button";
  button.className = "button wide";
  button.textContent = act.words;
  button.addEventListener("click", act.act);
  notice.append(button);
}

// One place for the fate of what was saved: kept here, taken by the club, or not taken and why.
function sayLast() {
  if (!last) return;
  const row = rows.find((one) => one.client_id === last.client_id);
  if (!row) {
    if (kept.has(last.client_id)) say(`Saved: ${last.words}.`, "good");
    else say("");
    last = null;
  } else if (row.state === "refused") {
    say(`Not taken: ${last.words}. ${row.why} It is still on this phone; change it and save again.`, "warn", {
      words: "Change it", act: () => mend(row),
    });
  } else if (link.standing) say(`Kept on this phone, not sent yet: ${last.words}. Why stands under “On this phone”.`);
  else if (link.noSignal) say(`Kept on this phone until there is signal: ${last.words}.`);
  else say(`Kept on this phone, sending: ${last.words}.`);
}

function choice(list, title, lines, tag, pressed, act) {
  const row = at("choice-template").content.cloneNode(true);
  const button = row.querySelector("button");
  row.querySelector("strong").textContent = title;
  const smalls = row.querySelectorAll("small");
  smalls[0].textContent = lines[0];
  smalls[1].textContent = lines[1];
  const place = row.querySelector(".tag");
  if (tag) {
    place.textContent = tag.words;
    place.classList.add(tag.state);
  } else place.remove();
  button.setAttribute("aria-pressed", pressed ? "true" : "false");
  button.addEventListener("click", act);
  list.append(row);
}

function chip(list, words, pressed, act) {
  const button = document.createElement("button");
  button.type = "button";
  button.className = "chip";
  button.textContent = words;
  button.setAttribute("aria-pressed", pressed ? "true" : "false");
  button.addEventListener("click", act);
  list.append(button);
}

function showJobs() {
  for (const [id, chosen] of [["jobs", true], ["more-jobs", false]]) {
    const list = at(id);
    list.replaceChildren();
    for (const job of data.jobs.filter((one) => one.today === chosen)) {
      const tag = job.state === "on_site" || !chosen ? { words: job.stateWords, state: job.state } : { words: "planned", state: "proposed" };
      choice(list, job.name, [job.where, job.progress], tag, draft?.item === job.uuid, () => pick({ item: job.uuid }));
    }
  }
  at("more-jobs-part").hidden = !data.jobs.some((job) => !job.today);
  const routine = at("routine");
  routine.replaceChildren();
  for (const one of data.routine) {
    chip(routine, one.words, draft?.routine === one.key, () => pick({ routine: one.key }));
  }
}

function others(opened) {
  at("other").setAttribute("aria-expanded", opened ? "true" : "false");
  at("others").hidden = !opened;
}

// What one's own entries come to by what this phone knows: taken by the club, with what waits here on top.
function known(besides) {
  const found = new Map(recent.entries.filter((one) => one.counts).map((one) => [one.entry, one]));
  for (const row of rows.filter((one) => one.state === "waiting")) {
    if (row.op === "log") found.set(row.client_id, row);
    else if (row.op === "withdraw") found.delete(row.entry);
    else if (found.has(row.entry)) found.set(row.entry, { ...found.get(row.entry), ...row });
  }
  found.delete(besides);
  return [...found.values()];
}

const own = () => draft.entry || draft.client_id;
const hoursOf = (list) => list.reduce((sum, one) => sum + one.hours, 0);
const loggedOn = (day, besides) => hoursOf(known(besides).filter((one) => one.worked_on === day));

// The hours a day still has of the working day, half an hour at least.
function usualHours(day, besides) {
  return Math.max(0.5, Math.round((data.workingDay - loggedOn(day, besides)) * 2) / 2);
}

// What is left of a job, none where it has no plan; the club's sum holds one's own entries as they were.
function leftOf(job) {
  if (!job?.planned) return null;
  const measured = (list) =>
    list
      .filter((one) => one.item === job.uuid && one.state !== "queried")
      .reduce((sum, one) => sum + (one.quantity ?? 0), 0);
  const others = (recent.done?.[job.uuid] ?? 0) - measured(recent.entries.filter((one) => one.counts));
  return Math.max(0, job.planned - others - measured(known(own())));
}

function lastGround() {
  const latest = [...rows].reverse().find((one) => one.ground) ?? recent.entries.find((one) => one.ground);
  return latest && latest.worked_on === today() ? latest.ground : "dry";
}

function begin(what) {
  draft = {
    mode: "log", client_id: newNumber(), item: "", routine: "", worked_on: today(), quantity: 0,
    ground: what.item ? lastGround() : "", note: "", ...what,
  };
  draft.hours ??= usualHours(draft.worked_on, draft.entry);
  at("note").value = draft.note;
  at("note").closest("details").open = Boolean(draft.note);
  showQuantity();
  // What was saved before stays told until the club has answered for it, or it is being mended.
  if (!last || last.client_id === draft.client_id) {
    last = null;
    say("");
  }
  if (what.routine) others(true);
  showJobs();
  showForm();
  at("form").hidden = false;
  at("form-title").focus({ preventScroll: true });
  at("form").scrollIntoView({ block: "nearest" });
}

// What waits on this phone may move to another job; anything else begins an entry of its own.
function pick(what) {
  if (draft?.mode !== "mend" || draft.op !== "log") {
    begin(what);
    return;
  }
  Object.assign(draft, { item: "", routine: "", why: "" }, what);
  if (!draft.item) Object.assign(draft, { quantity: 0, ground: "" });
  showQuantity();
  showJobs();
  showForm();
}

function end() {
  draft = null;
  at("form").hidden = true;
  others(false);
  showJobs();
}

function titleOf(row) {
  if (row.item) return jobOf(row.item)?.name ?? row.what ?? "A job that is no longer in the programme";
  return data.routine.find((one) => one.key === row.routine)?.words ?? row.what ?? "";
}

function tell(place, words) {
  at(place).hidden = !words;
  at(place).textContent = words;
}

function showQuantity() {
  at("quantity").value = number(draft.quantity);
  draft.wrong = "";
  draft.sure = null;
}

const SURE = () => `${draft.item} ${draft.quantity}`;

// The question stands until the figure changes; the second press on the same figure is the answer.
function question() {
  const job = jobOf(draft.item);
  const left = leftOf(job);
  if (left === null || draft.quantity <= left * 1.1 + 0.05) return "";
  if (left === 0) return `All ${amount(job.planned, job.unit)} of this job are logged as done already. Is it right?`;
  return `That is more than is left of this job: ${amount(left, job.unit)}. Is it right?`;
}

function sameWords() {
  const same = known(own()).filter((one) =>
    one.worked_on === draft.worked_on && (draft.item ? one.item === draft.item : one.routine === draft.routine));
  if (same.length === 0) return "";
  return `You have logged ${number(hoursOf(same))} h on this ${draft.item ? "job" : "work"} that day already.`;
}

function showForm() {
  const job = jobOf(draft.item);
  const asking = draft.sure !== null && draft.sure === SURE() && !draft.wrong;
  tell("same-words", sameWords());
  tell("hours-words", roomWords());
  tell("quantity-words", draft.wrong || (asking ? question() : ""));
  at("quantity").setAttribute("aria-invalid", draft.wrong ? "true" : "false");
  at("form-title").textContent = titleOf(draft);
  at("form-why").hidden = !draft.why;
  at("form-why").textContent = draft.why ?? "";
  at("hours").textContent = draft.hours.toFixed(1);
  const save = draft.mode === "log" ? `Save ${number(draft.hours)} h` : `Save as ${number(draft.hours)} h`;
  at("save").textContent = asking ? save.replace("Save", "It is right, save") : save;
  at("leave").hidden = draft.mode === "log";
  at("quantity-part").hidden = !draft.item;
  at("quantity-label").textContent = `${job?.doneWords ?? "Done"} ${draft.worked_on === today() ? "today" : "that day"}`;
  at("unit").textContent = job?.unit ?? "";
  at("unit").classList.toggle("long", (job?.unit ?? "").length > 2);
  const before = at("as-last");
  before.hidden = !job?.last || draft.quantity === job.last;
  before.textContent = job?.last ? `as last time: ${number(job.last)} ${job.unit}` : "";
  const ground = at("ground");
  ground.replaceChildren();
  ground.hidden = !draft.item;
  for (const one of data.ground) {
    chip(ground, one.words, draft.ground === one.key, () => {
      draft.ground = one.key;
      showForm();
    });
  }
  const back = [today(), dayBack(1)].indexOf(draft.worked_on);
  for (const button of at("days").children) {
    const chosen = button.dataset.back === (back < 0 ? "other" : String(back));
    button.setAttribute("aria-pressed", chosen ? "true" : "false");
  }
  at("day-part").hidden = back >= 0 && !draft.otherDay;
  at("day").max = today();
  at("day").value = draft.worked_on;
  showCautions(job);
}

function showCautions(job) {
  const part = at("cautions");
  const listed = (job?.cautions ?? []).map((key) => data.cautions[key]);
  part.hidden = listed.length === 0;
  if (part.hidden) return;
  part.querySelector("summary").textContent = `Before you start: ${listed.map((one) => one.title.toLowerCase()).join(", ")}`;
  const body = part.querySelector("div");
  body.replaceChildren();
  for (const one of listed) {
    const words = document.createElement("p");
    const title = document.createElement("strong");
    title.textContent = `${one.title}. `;
    words.append(title, `${one.text} Ask: ${one.ask}.`);
    body.append(words);
  }
  const defers = document.createElement("p");
  defers.className = "method";
  defers.textContent = data.defers;
  body.append(defers);
}

/* ---- + and − ---- */

const room = () => Math.max(0, 24 - loggedOn(draft.worked_on, own()));

function roomWords() {
  if (draft.hours < room()) return "";
  const logged = 24 - room();
  if (logged === 0) return "A day has no more than 24 h.";
  return `${number(logged)} h are logged on that day already; it has ${number(room())} h left.`;
}

function step(what, by) {
  if (what === "hours") {
    // The club refuses more; one that is over already only goes down.
    const most = by > 0 ? Math.max(room(), draft.hours) : 24;
    draft.hours = Math.max(0.5, Math.min(most, draft.hours + by / 2));
  } else {
    const size = jobOf(draft.item)?.step ?? 1;
    draft.quantity = Math.max(0, Math.round((draft.quantity + by * size) * 10) / 10);
    showQuantity();
  }
  showForm();
}

for (const button of document.querySelectorAll("[data-step]")) {
  const by = Number(button.dataset.by);
  let timer = null;
  let held = false;
  const stop = () => {
    clearTimeout(timer);
    clearInterval(timer);
    timer = null;
  };
  button.addEventListener("pointerdown", () => {
    held = false;
    timer = setTimeout(() => {
      held = true;
      timer = setInterval(() => draft && step(button.dataset.step, by), REPEAT_MS);
    }, HOLD_MS);
  });
  for (const name of ["pointerup", "pointerleave", "pointercancel"]) button.addEventListener(name, stop);
  button.addEventListener("contextmenu", (event) => event.preventDefault());
  button.addEventListener("click", () => {
    if (!held) step(button.dataset.step, by);
    held = false;
  });
}

at("quantity").addEventListener("focus", (event) => event.target.select());
// False when it is no quantity: what was typed stays in the field, with the reason below it.
function readQuantity() {
  const typed = at("quantity").value.trim();
  if (typed === number(draft.quantity) && !draft.wrong) return true;
  const value = /^\d*[.,]?\d*$/.test(typed) ? Number(typed.replace(",", ".")) : NaN;
  if (Number.isFinite(value) && value <= 1_000_000) {
    draft.quantity = Math.round(value * 100) / 100;
    showQuantity();
    return true;
  }
  draft.wrong = `“${typed}” is not a quantity: write a number such as 12 or 12.5, or 0 when nothing was measured. Nothing is saved yet.`;
  draft.sure = null;
  return false;
}

at("quantity").addEventListener("change", () => {
  if (!draft) return;
  readQuantity();
  showForm();
});
at("as-last").addEventListener("click", () => {
  draft.quantity = jobOf(draft.item).last;
  showQuantity();
  showForm();
});
at("days").addEventListener("click", (event) => {
  const back = event.target.dataset.back;
  if (back === undefined) return;
  draft.otherDay = back === "other";
  if (back === "other") draft.worked_on = draft.worked_on >= dayBack(1) ? dayBack(2) : draft.worked_on;
  else draft.worked_on = dayBack(Number(back));
  showForm();
});
at("day").addEventListener("change", (event) => {
  if (event.target.value) draft.worked_on = event.target.value;
  showForm();
});
at("other").addEventListener("click", () => others(at("others").hidden));
at("leave").addEventListener("click", end);

/* ---- saving ---- */

at("form").addEventListener("submit", async (event) => {
  event.preventDefault();
  if (saving || !draft || !mayBeSaved()) return;
  saving = true;
  at("save").disabled = true;
  const entry = { ...draft, note: at("note").value.trim() };
  try {
    const client_id = await save(entry);
    end();
    last = { client_id, words: `${number(entry.hours)} h, ${titleOf(entry)}, ${dayWords(entry.worked_on)}` };
    kept.delete(client_id);
    navigator.storage?.persist?.();
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

// Asks at the field first, where something is to be asked.
function mayBeSaved() {
  if (!draft.item) return true;
  const asked = draft.sure;
  if (readQuantity() && (!question() || asked === SURE())) return true;
  if (!draft.wrong) draft.sure = SURE();
  showForm();
  at("quantity-words").scrollIntoView({ block: "nearest" });
  if (draft.wrong) at("quantity").focus({ preventScroll: true });
  return false;
}

function facts(row) {
  const { client_id, item, routine, worked_on, hours, quantity, ground, note } = row;
  return { client_id, item, routine, worked_on, hours, quantity, ground, note, what: titleOf(row) };
}

// The number under which the club will answer for it.
async function save(entry) {
  if (!store.database) throw new Error("this browser keeps nothing for the page");
  if (entry.mode === "log") {
    await store.add({ ...facts(entry), op: "log", state: "waiting" });
    return entry.client_id;
  }
  if (entry.mode === "correct") return correction(entry.entry, entry);
  // A row still on this phone: changed where it stands, unless it may have arrived already.
  let arrived = null;
  let client_id = entry.client_id;
  await store.change(entry.n, (row) => {
    if (row.tried && row.state === "waiting") {
      arrived = row;
      return row;
    }
    client_id = row.client_id;
    return { ...row, ...facts(entry), client_id, state: "waiting", why: "", tried: false };
  });
  return arrived ? correction(arrived.entry ?? arrived.client_id, entry) : client_id;
}

async function correction(number, entry) {
  const client_id = newNumber();
  await store.add({ ...facts(entry), client_id, entry: number, op: "correct", state: "waiting" });
  return client_id;
}

async function withdraw(entry, what) {
  await store.add({
    client_id: newNumber(), entry, op: "withdraw", state: "waiting", what: what.what, item: what.item,
    routine: what.routine, worked_on: what.worked_on, hours: what.hours,
  });
  await refresh();
  send();
}

async function drop(row) {
  let arrived = false;
  await store.change(row.n, (now) => {
    arrived = now.tried && now.state === "waiting" && now.op === "log";
    return arrived ? now : null;
  });
  if (arrived) await withdraw(row.client_id, row);
  await refresh();
}

/* ---- sending ---- */

const { link, send, keepSending } = makeSender({
  store,
  lock: "hours",
  atOnce: data.atOnce,
  post(batch) {
    const entries = batch.map(({ n, key, state, why, tried, what, ...sent }) => sent);
    return post(data.urls.intake, JSON.stringify({ who: data.who, entries }), { "Content-Type": "application/json" });
  },
  answered(one) {
    if (one.answer === "kept") kept.add(one.client_id);
  },
  async changed(told) {
    if (told) {
      recent = told.recent;
      await store.fact("recent", recent);
    } else await refresh();
  },
});

/* ---- lists ---- */

function line(list, row, struck) {
  const made = at("logged-template").content.cloneNode(true);
  const smalls = made.querySelectorAll("small");
  made.querySelector("strong").textContent = titleOf(row);
  const day = row.worked_on ? dayWords(row.worked_on) : "";
  smalls[0].textContent = [day, quantityWords(row), groundWords(row.ground), row.words].filter(Boolean).join(" · ");
  smalls[1].textContent = row.why ?? "";
  made.querySelector(".fig").textContent = `${number(row.hours)} h`;
  if (struck) made.querySelector("strong").className = made.querySelector(".fig").className = "fig struck";
  const place = made.querySelector(".logged-do");
  list.append(made);
  return (words, act) => {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = words;
    button.setAttribute("aria-label", `${words}: ${titleOf(row)}, ${day}`);
    button.addEventListener("click", act);
    place.append(button);
  };
}

const OP_WORDS = { log: "waiting to send", correct: "change waiting to send", withdraw: "to be withdrawn" };

function mend(row) {
  begin({ ...facts(row), quantity: row.quantity ?? 0, mode: "mend", op: row.op, n: row.n, entry: row.entry, why: row.why });
}

function showQueue() {
  const list = at("queue");
  list.replaceChildren();
  for (const row of rows) {
    const words = row.state === "refused" ? "not taken" : OP_WORDS[row.op];
    const act = line(list, { ...row, words });
    if (row.op !== "withdraw") {
      act("Change", () => mend(row));
    }
    act(row.op === "log" ? "Remove" : "Leave as it was", () => drop(row));
  }
  at("queue-part").hidden = rows.length === 0;
}

function showLately() {
  const list = at("lately");
  list.replaceChildren();
  const moving = new Set(rows.filter((row) => row.entry).map((row) => row.entry));
  for (const one of recent.entries) {
    const why = one.state === "queried" ? `Asked by the course manager: ${one.reason}` : "";
    const words = one.counts ? one.stateWords : "corrected by a later row";
    const act = line(list, { ...one, words, why }, !one.counts);
    if (!one.mayChange || moving.has(one.entry)) continue;
    act("Change", () => begin({ ...one, client_id: newNumber(), quantity: one.quantity ?? 0, mode: "correct", why }));
    act("Withdraw", () => withdraw(one.entry, one));
  }
  if (recent.entries.length === 0) {
    const empty = document.createElement("li");
    empty.className = "empty";
    empty.textContent = "Nothing yet. Choose a job above and save its hours; they are listed here.";
    list.append(empty);
  }
}

async function showStanding() {
  const waiting = rows.filter((row) => row.state === "waiting").length;
  const refused = rows.length - waiting;
  const parts = [dayWords(today())];
  if (waiting) parts.push(`${waiting} waiting to send`);
  if (refused) parts.push(`${refused} to mend`);
  const others = await store.others();
  if (others) parts.push(`${others} of another person on this phone`);
  at("standing").textContent = parts.join(" · ");
  let words = refused ? "What was not taken is still here. Change it, or remove it." : "";
  at("queue-words").replaceChildren();
  if (waiting && link.standing === "signed out") {
    words = "You are signed out. Nothing is lost: sign in and it is sent.";
    signIn(words);
    return;
  }
  if (waiting && link.standing === "load again") words = "The page is too old to send. Nothing is lost: load it again.";
  else if (waiting && link.standing === "busy") words = "The club's server did not answer well. It is sent again by itself.";
  else if (waiting && link.standing) words = `${link.standing} What is here was saved by ${data.name} and waits until they sign in.`;
  else if (waiting) words = "Kept on this phone; sent by itself when there is signal.";
  at("queue-words").textContent = words;
}

function showKept() {
  const waits = rows.some((row) => row.state === "waiting");
  let words = "";
  if (link.noSignal || waits) words = waits ? "Kept on this phone until there is signal." : "No signal: what you save is kept on this phone until there is.";
  if (pageNeedsSignal) words = "Hours are kept on this phone, but the page needs signal to open.";
  at("kept-words").hidden = !words;
  at("kept-words").textContent = words;
}

function signIn(words) {
  const anchor = document.createElement("a");
  anchor.href = data.urls.page;
  anchor.textContent = "Sign in";
  at("queue-words").append(`${words} `, anchor);
}

async function refresh() {
  rows = await store.rows();
  showQueue();
  showLately();
  showKept();
  sayLast();
  await showStanding();
}

/* ---- at the start, and when things change ---- */

const keptRecent = await store.fact("recent").catch(() => undefined);
if (keptRecent && keptRecent.at > recent.at) recent = keptRecent;
if (!store.database) say("This browser keeps nothing for the page, so hours cannot be logged here. A private window does that; open an ordinary one.", "warn");
showJobs();
await refresh();
document.documentElement.dataset.ready = "yes";

keepSending();
keepPage(data.urls, () => {
  pageNeedsSignal = true;
  showKept();
});
