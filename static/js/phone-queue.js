// What a page for the field keeps on the phone until there is signal: a queue in IndexedDB under
// numbers made here, so that whoever is asked twice knows what was taken, and the sending of it.
const RETRY_MS = 15_000;
const ANSWER_MS = 20_000;

function asked(request) {
  return new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}

function open(name) {
  const request = indexedDB.open(name, 1);
  request.onupgradeneeded = () => {
    const queue = request.result.createObjectStore("queue", { keyPath: "n", autoIncrement: true });
    queue.createIndex("client_id", "client_id", { unique: true });
    request.result.createObjectStore("facts");
  };
  return asked(request);
}

function done(change) {
  return new Promise((resolve, reject) => {
    change.oncomplete = () => resolve();
    change.onabort = change.onerror = () => reject(change.error);
  });
}

// The store of one person of one club; ``database`` is null where the browser keeps nothing.
export async function openStore(name, club, who) {
  const database = await open(name).catch(() => null);
  const key = `${club} ${who}`;
  const all = () => asked(database.transaction("queue").objectStore("queue").getAll());
  return {
    database,
    key,
    async rows() {
      return database ? (await all()).filter((row) => row.key === key) : [];
    },
    async others() {
      if (!database) return 0;
      return (await all()).filter((row) => row.key !== key && row.key.startsWith(`${club} `)).length;
    },
    // Resolves when it is on the disk; the same number again is no second row.
    async add(row) {
      const change = database.transaction("queue", "readwrite", { durability: "strict" });
      const queue = change.objectStore("queue");
      const known = queue.index("client_id").getKey(row.client_id);
      known.onsuccess = () => {
        if (known.result === undefined) queue.add({ ...row, key });
      };
      return done(change);
    },
    // ``edit`` gets the row as it stands now; it returns the row to keep, or null to drop it.
    async change(n, edit) {
      const change = database.transaction("queue", "readwrite", { durability: "strict" });
      const queue = change.objectStore("queue");
      const found = queue.get(n);
      found.onsuccess = () => {
        if (found.result === undefined) return;
        const row = edit(found.result);
        if (row === null) queue.delete(n);
        else queue.put(row);
      };
      return done(change);
    },
    async fact(name, value) {
      if (!database) return undefined;
      if (value === undefined) {
        return asked(database.transaction("facts").objectStore("facts").get(`${key} ${name}`));
      }
      const change = database.transaction("facts", "readwrite");
      change.objectStore("facts").put(value, `${key} ${name}`);
      return done(change);
    },
  };
}

export function newNumber() {
  if (crypto.randomUUID) return crypto.randomUUID();
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
}

function cookie(name) {
  return document.cookie.split("; ").find((one) => one.startsWith(`${name}=`))?.slice(name.length + 1) ?? "";
}

export function post(url, body, headers = {}) {
  return fetch(url, {
    method: "POST",
    headers: { ...headers, "X-CSRFToken": cookie("csrftoken") },
    body,
    redirect: "manual",
    signal: AbortSignal.timeout(ANSWER_MS),
  });
}

// post(rows) sends a batch; answered(told, row, answer) hears of each; changed() shows how it stands.
// link.standing says why nothing goes: "", "signed out", "load again", "busy" or the club's words.
export function makeSender({ store, lock, atOnce, post: give, answered, changed }) {
  const link = { standing: "", noSignal: !navigator.onLine };
  let sending = false;
  let sendAgain = false;

  async function told(answer) {
    if (answer.type === "opaqueredirect" || answer.status === 401) link.standing = "signed out";
    else if (answer.status === 409) link.standing = (await answer.json()).error;
    else if (answer.status === 403) link.standing = "load again";
    else if (!answer.ok) link.standing = "busy";
    else {
      link.standing = "";
      return answer.json();
    }
    return null;
  }

  // True when something was settled, so that the next batch may go.
  async function sendBatch() {
    const batch = (await store.rows()).filter((row) => row.state === "waiting").slice(0, atOnce);
    if (batch.length === 0) return false;
    // Marked before it goes: from now on it may have arrived, whatever the answer.
    for (const row of batch) await store.change(row.n, (now) => ({ ...now, tried: true }));
    let answer;
    try {
      answer = await give((await store.rows()).filter((row) => batch.some((one) => one.n === row.n)));
    } catch {
      link.standing = "";
      link.noSignal = true;
      return false;
    }
    link.noSignal = false;
    const said = await told(answer);
    if (said === null) return false;
    let settled = false;
    for (const one of said.answers) {
      const row = batch.find((sent) => sent.client_id === one.client_id);
      if (!row || one.answer === "later") continue;
      settled = true;
      answered(one, row);
      await store.change(row.n, (now) => (one.answer === "kept" ? null : { ...now, state: "refused", why: one.why, tried: false }));
    }
    await changed(said);
    return settled;
  }

  async function send() {
    if (!store.database) return;
    if (sending) {
      sendAgain = true;
      return;
    }
    sending = true;
    try {
      const work = async () => {
        while (await sendBatch()) await changed(null);
      };
      // One tab at a time, else two would carry the same entries.
      await (navigator.locks ? navigator.locks.request(`${lock} ${store.key}`, work) : work());
    } finally {
      sending = false;
    }
    await changed(null);
    if (sendAgain) {
      sendAgain = false;
      send();
    }
  }

  // Sends whenever there is a chance that it goes through.
  function keepSending() {
    window.addEventListener("online", () => {
      link.noSignal = false;
      changed(null);
      send();
    });
    window.addEventListener("offline", () => {
      link.noSignal = true;
      changed(null);
    });
    document.addEventListener("visibilitychange", () => {
      if (document.visibilityState === "visible") send();
    });
    window.setInterval(async () => {
      if ((await store.rows()).some((row) => row.state === "waiting")) send();
    }, RETRY_MS);
    send();
  }

  return { link, send, keepSending };
}

// Keeps the page itself on the phone; ``failed`` is called where the browser cannot.
export function keepPage(urls, failed) {
  if (!("serviceWorker" in navigator)) failed();
  else navigator.serviceWorker.register(urls.worker, { scope: urls.page }).catch(failed);
}
