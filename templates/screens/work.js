"use strict";
// The screens work as plain forms; this script adds what a driveway needs. An answer is first kept on the phone and then sent, so a dead network, a dead
// browser or a dead server loses nothing; what was half typed comes back; the verdict shows while one types.
//
// What the pages say to it:
//   form[data-answer]           is sent from here. data-after or `next` (a hidden field): the screen to go on to when there is no connection.
//   form[data-begins="<id>"]    begins the job of that id; the script draws another id, because a kept copy of the page would begin the same job twice.
//   [data-faults="<place>"]     takes the faults of the field of that name; "" those of the form as a whole.
//   form[data-try="<address>"]  is tried while typing; the answer, HTML, is put into [data-trial] inside it. In there button[data-confirm="<field>"] says
//                               that the reading in the field is correct.
//   button[data-fill="<field>"] writes its data-value into the field of its form.   details.gate puts the cursor into its first empty field when it is opened.
//   button[data-fill-empty]     holds a JSON list of [field, value] and writes those whose field is empty.
//                               [data-into="<id>"] in there is put into the element of that id instead.
//   main[data-ahead]            a JSON list of the paths that probably come next; they are fetched ahead. data-screen: the script's own screens.
//   time[data-again]            counts down.   canvas[data-sign="<field>"] is drawn on.   input[data-photo] is made small.   button[data-back] leads back.
//   input[data-scan="<field>"]  takes a photo of a code; what the code holds is put into the field.
//   button[data-share="<path>"] shares the paper at that path (data-name, data-title) by the phone's own sheet; without one it stays away.
//   [data-filter="<id>"]        holds a field that filters the list items under that id; [data-none] inside it is shown where nothing is left.   [data-scripted][hidden] is shown where this script runs.

const REPLY_MS = 8000;  // a reply later than this counts as none
const PHOTO_MS = 40000; // a photo over a weak hotspot takes its time
const HASTY_MS = 1500;  // while there is known to be no connection, nobody is kept waiting longer than this
const LEAVING_MS = 10000; // a page is left within this after a link was followed, or what the link gave was a paper to be saved
const TRY_MS = 250;
const DRAFT_MS = 250;
const LONGEST_PAUSE_MS = 60000;
const DRAFTS_LAST_MS = 7 * 24 * 3600 * 1000;
const MOST_FAILURES = 5; // a server that answers and fails on one answer this often will not take it; a person must look
const SHOP = document.body.dataset.shop || "";
const HERE = location.pathname + location.search;
const asOf = document.body.dataset.asOf;            // set by the service worker on a copy that it kept
const missing = "missing" in document.body.dataset; // its own page for what it has no copy of
const LETTERS = "0123456789abcdefghjkmnpqrstvwxyz"; // those of a job's id
const IN_WORDS = {}; // each text below in the language of the screens; the server puts them in

// ── small tools ──────────────────────────────────────────────────────────────────────────────────────────────────────

const all = (selector, where = document) => [...where.querySelectorAll(selector)];
/** A text of ours in the language of the screens, its {names} filled in. */
const inWords = (text, filled = {}) => (IN_WORDS[text] || text).replace(/\{(\w+)\}/g, (whole, name) => filled[name] ?? whole);
const named = (form, name) => [...form.elements].filter((field) => field.name === name);
const clock = (moment) => `${String(moment.getHours()).padStart(2, "0")}:${String(moment.getMinutes()).padStart(2, "0")}`;
const day = (moment) => [moment.getFullYear(), moment.getMonth() + 1, moment.getDate()].map((part) => String(part).padStart(2, "0")).join("-");
const moment = (then) => (day(then) === day(new Date()) ? clock(then) : inWords("{time} on {day}", { time: clock(then), day: day(then) }));

function made(tag, text = "", more = {}) {
  const element = document.createElement(tag);
  element.textContent = text;
  for (const [name, value] of Object.entries(more)) { element.setAttribute(name, value); }
  return element;
}

function key(text, press, kind = "other") {
  const button = made("button", text, { type: "button", class: kind });
  button.addEventListener("click", press);
  return button;
}

function drawn(length, letters) {
  return [...crypto.getRandomValues(new Uint8Array(length))].map((byte) => letters[byte % letters.length]).join("");
}

/** An answer's id: 32 letters, 5 bits each. */
const newId = () => drawn(32, LETTERS);

function later(work, milliseconds) {
  let timer = 0;
  return () => { clearTimeout(timer); timer = setTimeout(work, milliseconds); };
}

/** A small thing in the browser's storage; where there is none, or it was spoilt, there is nothing. */
const shelf = {
  read(name, where = "localStorage") { try { return JSON.parse(window[where].getItem(name)); } catch { return null; } },
  keep(name, value, where = "localStorage") { try { window[where].setItem(name, JSON.stringify(value)); } catch { /* no place: it is only missed later */ } },
  drop(name, where = "localStorage") { try { window[where].removeItem(name); } catch { /* nor is anything there */ } },
  names() { try { return Object.keys(localStorage); } catch { return []; } },
};

// ── what is kept on the phone ────────────────────────────────────────────────────────────────────────────────────────

/** The queue in a database of the browser: in order, shared by its tabs, photos as they are. */
class Database {
  static async open() {
    const asked = indexedDB.open("corekit", 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore("answers", { keyPath: "n", autoIncrement: true });
    return new Database(await Database.done(asked));
  }
  static done(asked) {
    return new Promise((resolve, reject) => {
      asked.onsuccess = () => resolve(asked.result);
      asked.onerror = asked.onblocked = () => reject(asked.error || new Error("blocked"));
    });
  }
  constructor(database) { this.database = database; }
  // Waits for the transaction, not for the request: only then it is kept.
  change(work) {
    return new Promise((resolve, reject) => {
      const change = this.database.transaction("answers", "readwrite", { durability: "strict" });
      const asked = work(change.objectStore("answers"));
      change.oncomplete = () => resolve(asked.result);
      change.onabort = change.onerror = () => reject(change.error);
    });
  }
  all() { return Database.done(this.database.transaction("answers").objectStore("answers").getAll()); }
  async put(item) { item.n = await this.change((answers) => answers.put(item)); }
  remove(item) { return this.change((answers) => answers.delete(item.n)); }
}

/** The same where there is no database: a list as text. Photos cannot be kept in it. */
class TextList {
  static NAME = "corekit:queue";
  read() { return JSON.parse(localStorage.getItem(TextList.NAME) || "[]"); }
  write(items) { localStorage.setItem(TextList.NAME, JSON.stringify(items)); }
  async all() { return this.read(); }
  async put(item) {
    if (!item.fields.every(isText)) { throw new Error("no place for photos"); }
    const items = this.read();
    item.n ??= Math.max(Date.now(), ...items.map((other) => other.n + 1));
    this.write([...items.filter((other) => other.n !== item.n), item].sort((one, other) => one.n - other.n));
  }
  async remove(item) { this.write(this.read().filter((other) => other.n !== item.n)); }
}

const queue = (async () => {
  try { return await Database.open(); } catch { return new TextList(); }
})();

const items = async () => (await queue).all();

/** The job that an answer belongs to; what belongs to none waits for nobody. */
const jobOf = (item) => (/^\/job\/([^/?]+)/.exec(item.action) || [])[1] || item.id;

/** Answers of the same job behind one that needs a look wait with it: at which stage they count depends on what came before, and only a person can tell. */
function sorted(list) {
  const own = missing ? list : list.filter((item) => item.shop === SHOP);
  const refused = own.filter((item) => item.faults);
  const stuck = (item) => refused.some((other) => jobOf(other) === jobOf(item) && other.n < item.n);
  const waiting = own.filter((item) => !item.faults);
  return { refused, behind: waiting.filter(stuck), ready: waiting.filter((item) => !stuck(item)), elsewhere: list.filter((item) => !own.includes(item)) };
}

// ── sending ──────────────────────────────────────────────────────────────────────────────────────────────────────────

const state = {
  guard: document.body.dataset.guard || "", // the word that holds now
  away: false, failing: false, locked: false, back: false, // what the last try showed
  wanted: false, running: null, pause: 0, timer: 0, // of the sending
  resting: false, // the page is being left; what is typed was taken
  ledAway: -Infinity, // when a link was last followed
};
const awaited = new Map(); // answer id → who waits on this page for what becomes of it
const tabs = window.BroadcastChannel ? new BroadcastChannel("corekit") : null;
if (tabs) { tabs.onmessage = (said) => { settle(said.data.id, said.data.outcome); showLine(); }; }

function settle(id, outcome) {
  const waiting = awaited.get(id);
  awaited.delete(id);
  waiting?.(outcome);
}

const isText = ([, value]) => typeof value === "string";
const deadline = (item) => (item.fields.every(isText) ? REPLY_MS : PHOTO_MS);

function bodyOf(item, guard) {
  const kept = Math.max(0, Math.round((Date.now() - Date.parse(item.at)) / 1000)) || 0; // how long it waited here; a phone's clock may be wrong, a span is not
  const fields = item.fields.concat([["answer", item.id], ["guard", guard], ["screen", item.screen], ["kept", String(kept)]]);
  if (fields.every(isText)) { return new URLSearchParams(fields); }
  const form = new FormData();
  for (const [name, value] of fields) { typeof value === "string" ? form.append(name, value) : form.append(name, value, "photo.jpg"); }
  return form;
}

async function reached(address, options, milliseconds) {
  const reply = await fetch(address, { ...options, cache: "no-store", signal: AbortSignal.timeout(milliseconds) });
  const text = await reply.text();
  let content = null;
  try { content = JSON.parse(text); } catch { /* a page, not an answer for the script */ }
  return { status: reply.status, content };
}

/** Whether this phone is let in; brings the word for forms that holds now. Null when there is no connection. */
async function isLetIn() {
  try {
    const { content } = await reached("/door/state", { headers: { Accept: "application/json" } }, REPLY_MS);
    if (content?.guard) { state.guard = content.guard; }
    if (content?.unlocked === false) { await forgetCopies(); }
    return content?.unlocked !== false;
  } catch { return null; }
}

/** Send one answer once. `away` says only that nobody knows what became of it; it is sent again under the same id, which adds nothing. */
async function sent(item, again = true) {
  let reply;
  try {
    reply = await reached(item.action, { method: "POST", body: bodyOf(item, state.guard), headers: { Accept: "application/json" } }, deadline(item));
  } catch { return { kind: "away" }; }
  const { status, content } = reply;
  if (status === 200 && typeof content?.next === "string" && /^\/(?![/\\])/.test(content.next)) { return { kind: "taken", next: content.next }; }
  if (status === 401) { await forgetCopies(); return { kind: "locked" }; }
  if (status === 403 && content?.guard && again && await isLetIn()) { return sent(item, false); }
  if ([400, 404, 405, 409, 410, 413, 415, 422].includes(status)) {
    return { kind: "refused", faults: content?.faults || [{ place: "", text: inWords("This was not saved ({status}).", { status }), asked: false, guesses: [] }] };
  }
  return { kind: "away", failed: ![408, 429, 502, 503, 504].includes(status) };
}

/** What is left of an answer on the phone once its outcome is known. */
async function noted(item, outcome) {
  const kept = await queue;
  if (outcome.failed) {
    item.failures = (item.failures || 0) + 1;
    if (item.failures >= MOST_FAILURES) {
      outcome = { kind: "refused", faults: [{ place: "", text: inWords("The server failed on this every time. Its terminal says why."), asked: false, guesses: [] }] };
    }
  }
  if (outcome.kind === "taken") { await kept.remove(item); }
  if (outcome.kind === "refused") { item.faults = outcome.faults; }
  if (outcome.kind === "refused" || outcome.failed) { await kept.put(item); }
  return outcome;
}

async function sendReady() {
  for (let count = 0; ; count++) {
    state.wanted = false;
    const item = sorted(await items()).ready[0];
    if (!item) { return count ? "sent" : "held"; }
    const outcome = await noted(item, await sent(item));
    state.away = outcome.kind === "away";
    state.failing = Boolean(outcome.failed);
    state.locked = outcome.kind === "locked";
    if (state.away || state.locked) { return outcome.kind; }
    state.pause = 0;
    settle(item.id, outcome);
    tabs?.postMessage({ id: item.id, outcome });
    showLine();
  }
}

/** One tab sends at a time, or two would send out of order. */
async function alone(work) {
  if (navigator.locks) { return navigator.locks.request("corekit-queue", { signal: AbortSignal.timeout(PHOTO_MS) }, work); }
  // Plain http has no locks; a lease in the storage that all tabs share, renewed while the work lasts.
  const NAME = "corekit:lease", me = newId();
  const held = () => shelf.read(NAME);
  const take = () => shelf.keep(NAME, { me, until: Date.now() + 3000 });
  while (held() && held().until > Date.now() && held().me !== me) { await new Promise((go) => setTimeout(go, 200)); }
  take();
  await new Promise((go) => setTimeout(go, 50)); // another tab may have taken it in the same moment; the later one has it
  if (held() && held().me !== me) { return alone(work); }
  const renewing = setInterval(take, 1000);
  try { return await work(); } finally {
    clearInterval(renewing);
    if (held()?.me === me) { shelf.drop(NAME); }
  }
}

/** Send what is kept, in order, until it is gone or cannot go. */
async function send() {
  if (missing) { return undefined; } // that page does not know which shop it belongs to
  state.wanted = true;
  state.running ??= (async () => {
    clearTimeout(state.timer);
    let ended = "away";
    try { ended = await alone(sendReady); } catch { state.away = true; }
    state.running = null;
    if (state.wanted && ["sent", "held"].includes(ended)) { return send(); }
    for (const id of [...awaited.keys()]) { settle(id, { kind: ended }); }
    if (ended === "sent") { connectionIsBack(); }
    await showLine();
    if (ended === "away" || (ended === "held" && asOf)) { trySoon(); }
    return undefined;
  })();
  return state.running;
}

function trySoon() {
  state.pause = Math.min(Math.max(2 * state.pause, 1000), LONGEST_PAUSE_MS);
  clearTimeout(state.timer);
  state.timer = setTimeout(async () => {
    if (!missing && sorted(await items()).ready.length) { send(); return; }
    if (!(asOf || missing)) { return; }
    if (await isLetIn() === null) { trySoon(); } else { connectionIsBack(); }
  }, state.pause);
}

// ── the line at the top ──────────────────────────────────────────────────────────────────────────────────────────────

const line = document.getElementById("line");
let due = []; // titles of what is to be looked at again now

async function showLine() {
  if (!line) { return; }
  const { refused, behind, ready, elsewhere } = sorted(await items());
  const waits = ready.filter((item) => state.away || state.locked || !awaited.has(item.id)).length;
  const kept = { count: waits, time: asOf && moment(new Date(asOf)) };
  const one = waits === 1;
  const away = state.away || ((asOf || missing) && !state.locked && !state.back);
  const told = [];
  if (state.locked && waits) { told.push(one ? inWords("Locked. 1 answer is saved on this phone and will be sent after the passcode.") : inWords("Locked. {count} answers are saved on this phone and will be sent after the passcode.", kept), [inWords("To the passcode"), `/door?next=${encodeURIComponent(HERE)}`]); }
  else if (away && waits && state.failing) { told.push(one ? inWords("The server could not save it. 1 answer is saved on this phone and will be sent when it can.") : inWords("The server could not save it. {count} answers are saved on this phone and will be sent when it can.", kept)); }
  else if (away && waits) { told.push(one ? inWords("No connection. 1 answer is saved on this phone and will be sent in order when it is back.") : inWords("No connection. {count} answers are saved on this phone and will be sent in order when it is back.", kept)); }
  else if (away && asOf) { told.push(inWords("As of {time}; no connection.", kept)); }
  else if (away) { told.push(inWords("No connection.")); }
  else if (waits) { told.push(one ? inWords("Sending 1 saved answer.") : inWords("Sending {count} saved answers.", kept)); }
  if (away && waits && asOf) { told.push(inWords("This screen is as of {time}.", kept)); }
  const wait = !behind.length ? "" : behind.length === 1 ? ` ${inWords("1 answer of the same job waits for it.")}` : ` ${inWords("{count} answers of the same job wait for it.", { count: behind.length })}`;
  if (refused.length) { told.push([(refused.length === 1 ? inWords("1 answer needs attention.") : inWords("{count} answers need attention.", { count: refused.length })) + wait, "/queue"]); }
  if (elsewhere.length) { told.push([elsewhere.length === 1 ? inWords("1 answer for another shop on this phone.") : inWords("{count} answers for another shop on this phone.", { count: elsewhere.length }), "/queue"]); }
  if (state.back) { told.push(inWords("The connection is back."), [inWords("Reload this screen"), HERE]); }
  for (const title of due) { told.push(inWords("Due now: {title}.", { title })); }
  const mark = JSON.stringify(told);
  if (line.dataset.told !== mark) { // said once, not at every look: a screen reader reads it aloud
    line.dataset.told = mark;
    line.replaceChildren(...told.flatMap((part) => [Array.isArray(part) ? made("a", part[0], { href: part[1] }) : part, " "]).slice(0, -1));
  }
  document.dispatchEvent(new Event("corekit:queue"));
}

/** A screen from a kept copy is loaded anew once there is a connection; not under the hands of somebody who types, nor while another one that was asked for
 * is on its way: loading anew would take its place. */
function connectionIsBack() {
  if (!(asOf || missing)) { return; }
  state.back = true;
  const stays = !state.resting && performance.now() - state.ledAway > LEAVING_MS;
  if (stays && formsOfPage().every((form) => !typed(form).length && !busy.has(form))) { location.reload(); } else { showLine(); }
}

// ── what is half typed ───────────────────────────────────────────────────────────────────────────────────────────────

const DRAFT = "corekit:draft:";
const WISHES = ["about", "again", "aside", "listed", "minutes"]; // how somebody came to a screen; after the browser died another way leads there
const isKey = (field) => field.type === "radio" || field.type === "checkbox";

function draftName(at = location) {
  const asked = new URLSearchParams(at.search);
  for (const wish of WISHES) { asked.delete(wish); }
  return `${DRAFT}${at.pathname}?${asked}`;
}

/** What a person put into a form: [name, which, value] of each field that is not as the page came. Photos not: they are too large. */
function typed(form) {
  const found = [], seen = {};
  for (const field of form.elements) {
    if (!field.name || ["submit", "button", "file", "password", "fieldset"].includes(field.type)) { continue; }
    if (field.type === "hidden" && !("drawn" in field.dataset)) { continue; }
    const which = isKey(field) ? field.value : seen[field.name] = (seen[field.name] ?? -1) + 1;
    const before = field.type === "hidden" ? "" : isKey(field) ? field.defaultChecked : field.options ? chosenFirst(field) : field.defaultValue;
    const now = isKey(field) ? field.checked : field.value;
    if (now !== before) { found.push([field.name, which, now]); }
  }
  return found;
}

const chosenFirst = (list) => ([...list.options].find((option) => option.defaultSelected) || list.options[0])?.value ?? "";
const formsOfPage = () => all("main form[method=post]");

/** A form's name among those of its page: where it goes, and which of those that go there. The id of a job that is only begun here says nothing. */
function formName(form) {
  const goal = (one) => (one.dataset.begins === undefined ? one.getAttribute("action") : "begins");
  return `${goal(form)}#${formsOfPage().filter((other) => goal(other) === goal(form)).indexOf(form)}`;
}

function keepDrafts() {
  if (state.resting) { return; }
  const forms = formsOfPage().map((form) => [formName(form), typed(form)]).filter(([, fields]) => fields.length);
  if (forms.length) { shelf.keep(draftName(), { at: Date.now(), forms: Object.fromEntries(forms) }); } else { shelf.drop(draftName()); }
}

/** Who or which vehicle it is comes filled in on the page of this link; what else was typed goes along. */
function carryOver(form, link) {
  const rest = typed(form).filter(([name]) => !/^(vehicle|customer)\./.test(name));
  if (rest.length) { shelf.keep(draftName(link), { at: Date.now(), forms: { [formName(form)]: rest } }); }
  forget(form);
  state.resting = true;
}

function dropOldDrafts() {
  for (const name of shelf.names().filter((name) => name.startsWith(DRAFT))) {
    if (!(Date.now() - shelf.read(name)?.at < DRAFTS_LAST_MS)) { shelf.drop(name); }
  }
}

function bringDraftsBack() {
  const kept = shelf.read(draftName());
  for (const form of kept ? formsOfPage() : []) {
    const fields = kept.forms[formName(form)] || [];
    for (const [name, which, value] of fields) {
      const found = named(form, name);
      const field = typeof which === "string" ? found.find((other) => other.value === which) : found[which];
      if (!field) { continue; }
      if (isKey(field)) { field.checked = value; } else { field.value = value; }
      field.closest("details")?.setAttribute("open", "");
    }
    if (typed(form).length) {
      const note = made("p", inWords("Your unsaved entry is back."), { class: "soft back-note", role: "status" });
      note.append(" ", key(inWords("Start over"), () => { emptied(form); note.remove(); }, "quiet"));
      form.prepend(note);
      form.dispatchEvent(new Event("corekit:restored"));
      form.dispatchEvent(new Event("input", { bubbles: true }));
    }
  }
}

function emptied(form) {
  form.reset();
  for (const field of all("[data-drawn]", form)) { field.value = ""; }
  form.dispatchEvent(new Event("corekit:restored"));
  form.dispatchEvent(new Event("input", { bubbles: true }));
  keepDrafts();
}

// ── answering ────────────────────────────────────────────────────────────────────────────────────────────────────────

const OWED = "corekit:owed";
const busy = new WeakSet();
const photos = new WeakMap(); // field → a promise of the photo made small

function labelOf(field) {
  if (isKey(field)) { return field.closest("fieldset")?.querySelector("legend")?.textContent.trim() || field.name; }
  return field.labels?.[0]?.textContent.trim() || field.dataset.drawn || "";
}

/** The fields that are sent, and those that a person would recognise, for the list of kept answers. */
async function collected(form, submitter) {
  const fields = [], shown = [];
  for (const [name, value] of new FormData(form, submitter)) {
    if (["answer", "guard", "screen", "kept"].includes(name)) { continue; }
    if (typeof value === "string") { fields.push([name, value]); continue; }
    const photo = await photos.get(named(form, name)[0]) || value;
    if (photo.size) { fields.push([name, photo]); }
  }
  for (const field of form.elements) {
    if (!field.name || !field.value || ["submit", "button"].includes(field.type) || field.name.endsWith("|unit")) { continue; }
    if ((isKey(field) && !field.checked) || (field.type === "hidden" && !("drawn" in field.dataset))) { continue; }
    const unit = form.querySelector(`[name="${CSS.escape(`${field.name}|unit`)}"]:checked`)?.value;
    const text = field.type === "file" ? inWords("a photo") : field.type === "hidden" ? inWords("drawn") : isKey(field) ? field.labels[0]?.textContent.trim() : field.value;
    shown.push({ name: field.name, label: labelOf(field) + (unit ? `, ${unit}` : ""), text, typed: !isKey(field) && !["hidden", "file"].includes(field.type) });
  }
  if (submitter?.name) { shown.push({ name: submitter.name, label: "", text: submitter.textContent.trim(), typed: false }); }
  return { fields, shown };
}

async function answer(form, submitter) {
  if (busy.has(form)) { return; } // the second tap of two
  busy.add(form);
  const collecting = collected(form, submitter); // before the buttons are off: the one that was pressed says something too
  rest(form, true);
  clearFaults(form);
  const goal = new URL(submitter?.hasAttribute("formaction") ? submitter.formAction : form.action);
  const title = document.querySelector("h1")?.textContent.trim() || document.title;
  const item = {
    id: newId(), action: goal.pathname + goal.search, screen: HERE, shop: SHOP, at: new Date().toISOString(), title, ...await collecting,
  };
  try {
    await (await queue).put(item);
  } catch {
    const outcome = await sent(item);
    const nowhere = inWords("No connection, and this phone cannot save an answer. It stays in this form; send it again later.");
    await concluded(form, item, outcome.kind === "away" ? { kind: "refused", faults: [{ place: "", text: nowhere }] } : outcome);
    return;
  }
  await concluded(form, item, await outcomeOf(item));
}

/** What becomes of an answer that is kept; `away` when that is not known soon. */
function outcomeOf(item) {
  const patience = state.away || asOf ? HASTY_MS : deadline(item) + 500;
  return new Promise((resolve) => {
    awaited.set(item.id, resolve);
    setTimeout(() => settle(item.id, { kind: "away" }), patience);
    send();
  });
}

async function concluded(form, item, outcome) {
  if (outcome.kind === "locked") {
    // The answer waits on the phone and goes out on the door's other side; its outcome belongs to this form all the same.
    keepDrafts();
    if (item.n !== undefined) { shelf.keep(OWED, { id: item.id, screen: HERE, form: formName(form) }, "sessionStorage"); }
    lead(`/door?next=${encodeURIComponent(HERE)}`);
    return;
  }
  if (outcome.kind === "refused") {
    if (item.n !== undefined) { await (await queue).remove(item); }
    showFaults(form, outcome.faults);
    wake(form);
    showLine();
    return;
  }
  forget(form);
  if (outcome.kind === "taken") { lead(outcome.next); } else { goOn(form); }
}

/** Back from the door: the answer that was given before it. */
async function payOwed() {
  const owed = shelf.read(OWED, "sessionStorage");
  if (owed?.screen !== HERE) { return; }
  shelf.drop(OWED, "sessionStorage");
  const form = formsOfPage().find((other) => formName(other) === owed.form);
  const item = (await items()).find((other) => other.id === owed.id);
  if (!form || !item || item.faults) { return; }
  busy.add(form);
  rest(form, true);
  await concluded(form, item, await outcomeOf(item));
}

function lead(path) {
  state.resting = true;
  location.assign(path);
}

/** On without a connection: to the first of what the form and the screens ahead name that has no answer waiting, else where it leads to anyway. */
async function goOn(form) {
  const answered = new Set((await items()).map((item) => item.screen).concat(HERE));
  const open = (path) => path && !answered.has(path);
  const after = form.dataset.after === undefined ? "" : [form.dataset.after, ...ahead()].find(open);
  const path = after || form.querySelector("input[name=next]")?.value || ahead().find(open);
  if (path && window.isSecureContext && navigator.serviceWorker) { lead(path); return; }
  emptied(form); // without copies nothing else opens now
  wake(form);
  showLine();
}

function rest(form, isResting) {
  for (const button of all("button", form)) { button.disabled = isResting; }
  form.setAttribute("aria-busy", String(isResting));
}

function wake(form) {
  busy.delete(form);
  rest(form, false);
}

/** Acknowledged, or kept in the queue: it does not stand half typed as well. */
function forget(form) {
  const kept = shelf.read(draftName());
  if (!kept) { return; }
  delete kept.forms[formName(form)];
  if (Object.keys(kept.forms).length) { shelf.keep(draftName(), kept); } else { shelf.drop(draftName()); }
}

// ── faults beside their fields ───────────────────────────────────────────────────────────────────────────────────────

function clearFaults(form) {
  for (const beside of all("[data-faults]", form)) { beside.replaceChildren(); }
  for (const field of all("[aria-invalid]", form)) { field.removeAttribute("aria-invalid"); }
}

/** The field itself, a field within the place, or the nearest row around it. */
function besideOf(form, place) {
  const places = all("[data-faults]", form);
  const within = (one, other) => other.startsWith(`${one}.`) || other.startsWith(`${one}[`);
  return places.find((beside) => beside.dataset.faults === place)
    || places.find((beside) => place && within(place, beside.dataset.faults))
    || places.filter((beside) => beside.dataset.faults && within(beside.dataset.faults, place)).at(-1)
    || places.find((beside) => beside.dataset.faults === "")
    || form.insertBefore(made("div", "", { class: "faults", role: "alert", "data-faults": "" }), form.firstChild);
}

function showFaults(form, faults) {
  let first = null;
  form.querySelector("[data-trial]")?.replaceChildren(); // it would ask the same once more
  for (const fault of faults) {
    const beside = besideOf(form, fault.place);
    beside.append(made("p", fault.text, { class: "fault" }));
    const field = named(form, fault.place)[0] || named(form, beside.dataset.faults)[0];
    for (const one of field ? named(form, field.name) : []) { one.setAttribute("aria-invalid", "true"); }
    beside.closest("details")?.setAttribute("open", "");
    if (field) { beside.append(...(fault.guesses || []).map((guess) => guessKey(form, field, guess))); }
    if (fault.asked) { beside.append(key(inWords("Reading is correct"), () => { confirmed(form, field?.name || fault.place); resubmit(form); })); }
    beside.tabIndex = -1;
    first ??= field || beside;
  }
  first?.focus();
}

/** What was probably meant: into the field, and no further; nothing is taken that nobody said. */
function guessKey(form, field, guess) {
  return key(guess, () => {
    fillIn(field, guess);
    clearFaults(form);
    mainButton(form)?.focus();
  });
}

const mainButton = (form) => form.querySelector("button.main") || form.querySelector("button[type=submit]");
const resubmit = (form) => form.requestSubmit(mainButton(form));

/** A field in which nothing stands, or keys of which none is pressed; what somebody said stays. */
function fillEmpty(fields, text) {
  if (fields.some((field) => (isKey(field) ? field.checked : field.value))) { return; }
  for (const field of fields) {
    if (!isKey(field)) { fillIn(field, text); } else if (field.value === text) { field.checked = true; field.dispatchEvent(new Event("input", { bubbles: true })); }
  }
}

function fillIn(field, text) {
  field.value = text;
  field.dispatchEvent(new Event("input", { bubbles: true }));
}

/** Say in the row of a field that its reading is correct. A value that stands alone under its key becomes a row of its own for that. */
function confirmed(form, name) {
  let row = name;
  const parent = /^(.*)\.(is|low|high)$/.exec(name);
  if (parent) { row = parent[1]; }
  else {
    for (const field of [...named(form, name), ...named(form, `${name}|unit`)]) { field.name = field.name.replace(name, `${name}.is`); }
  }
  const field = made("input", "", { type: "hidden", name: `${row}.confirmed|yes`, value: "yes", "data-confirms": parent ? name : `${name}.is` });
  if (!named(form, field.name).length) { form.append(field); }
}

document.addEventListener("input", (event) => {
  // Whoever types something else has confirmed nothing yet.
  for (const field of all("[data-confirms]", event.target.form || undefined)) {
    if (field.dataset.confirms === event.target.name) { field.remove(); }
  }
});

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (event.submitter && "whole" in event.submitter.dataset) { return; } // what comes back is a page: nothing is kept or sent later
  if ("answer" in form.dataset) {
    event.preventDefault();
    answer(form, event.submitter);
  } else if (form.method === "post") {
    forget(form);
    state.resting = true;
  }
});

// ── trying while typing ──────────────────────────────────────────────────────────────────────────────────────────────

function tryWhileTyping(form) {
  const trial = form.querySelector("[data-trial]");
  if (!trial) { return; }
  trial.setAttribute("aria-live", "polite");
  const before = trial.innerHTML; // what stands there as long as nothing is put in
  const say = (words) => trial.replaceChildren(made("p", words, { class: "soft" }));
  let running = new AbortController();
  async function tried() {
    running.abort();
    const mine = running = new AbortController();
    if (!typed(form).length) { trial.innerHTML = before; return; }
    const { fields } = await collected(form);
    if (mine.signal.aborted || busy.has(form)) { return; }
    const strings = fields.filter(isText).concat([["guard", state.guard], ["screen", HERE]]);
    try {
      const signal = AbortSignal.any ? AbortSignal.any([mine.signal, AbortSignal.timeout(REPLY_MS)]) : mine.signal;
      const options = { method: "POST", body: new URLSearchParams(strings), headers: { Accept: "text/html" }, signal, cache: "no-store" };
      let reply = await fetch(form.dataset.try, options);
      if (reply.status === 403 && await isLetIn()) {
        strings.find(([name]) => name === "guard")[1] = state.guard;
        reply = await fetch(form.dataset.try, { ...options, body: new URLSearchParams(strings) });
      }
      if (reply.status === 401) { await forgetCopies(); }
      const text = await reply.text();
      if (mine.signal.aborted) { return; }
      if (reply.ok || reply.status === 422) {
        trial.innerHTML = text;
        for (const part of all("[data-into]", trial)) { document.getElementById(part.dataset.into)?.replaceChildren(part); }
      }
      else { say(reply.status === 401 ? inWords("Locked: the result shows after the passcode.") : inWords("The result cannot be shown now.")); }
    } catch {
      if (!mine.signal.aborted) { say(inWords("No connection: the result shows when it is back. You can still save.")); }
    }
  }
  const soon = later(tried, TRY_MS);
  form.addEventListener("input", soon);
  form.addEventListener("change", soon);
  trial.addEventListener("click", (event) => {
    const confirm = event.target.closest("[data-confirm]");
    if (confirm) { confirmed(form, confirm.dataset.confirm); soon(); }
  });
  if (typed(form).length) { soon(); }
}

// ── small things ─────────────────────────────────────────────────────────────────────────────────────────────────────

document.addEventListener("click", (event) => {
  const fill = event.target.closest("button[data-fill]");
  if (fill?.form) { named(fill.form, fill.dataset.fill).forEach((field) => fillIn(field, fill.dataset.value)); }
  const rest = event.target.closest("button[data-fill-empty]");
  for (const [name, value] of rest?.form ? JSON.parse(rest.dataset.fillEmpty) : []) { fillEmpty(named(rest.form, name), value); }
});

document.addEventListener("click", (event) => {
  const known = event.target.closest("#known a[href]");
  if (known) { carryOver(known.closest("form"), new URL(known.href)); }
  if (event.target.closest("a[href]")) { state.ledAway = performance.now(); }
});

/** A paper goes out by the phone's own sheet; where there is none, the link beside it saves the file. */
function shareBy(button) {
  const told = { title: button.dataset.title };
  if (!navigator.share) { button.parentElement.hidden = true; return; }
  // Fetched ahead: the sheet opens only within the tap itself.
  const paper = fetch(button.dataset.share, { cache: "no-store" })
    .then(async (reply) => (reply.ok ? new File([await reply.blob()], button.dataset.name, { type: "application/pdf" }) : null))
    .catch(() => null);
  button.addEventListener("click", async () => {
    const file = await paper, whole = file ? { ...told, files: [file] } : told;
    try { await navigator.share(file && navigator.canShare?.(whole) ? whole : { ...told, url: new URL(button.dataset.share, location.href).href }); }
    catch (error) { if (error.name !== "AbortError") { button.replaceWith(made("p", inWords("It could not be shared. Save it as a PDF and send that."), { class: "soft" })); } }
  });
}

/** A code in a photo becomes what stands in a field; the photo goes nowhere else. */
function scanInto(input) {
  const form = input.form, said = input.closest("p").querySelector("[role=status]");
  input.addEventListener("change", async () => {
    const file = input.files[0];
    if (!file) { return; }
    said.textContent = inWords("Reading the code …");
    const sent = new FormData();
    sent.append("guard", state.guard);
    sent.append("photo", (await madeSmall(file).catch(() => null)) || file, "code.jpg");
    input.value = "";
    try {
      const reply = await fetch("/scan", { method: "POST", body: sent, headers: { Accept: "application/json" }, signal: AbortSignal.timeout(PHOTO_MS), cache: "no-store" });
      const { text = "", words = inWords("The code could not be read just now. Type the number.") } = await reply.json();
      said.textContent = words;
      if (text) { named(form, input.dataset.scan).forEach((field) => fillIn(field, text)); }
    } catch { said.textContent = inWords("No connection: the code cannot be read now. Type the number."); }
  });
}

// After a tap the caret can still stand in the field before, and what is typed then goes nowhere.
document.addEventListener("click", (event) => {
  const field = event.target;
  if (field === document.activeElement && field.matches("input[type=text], textarea") && !field.value) { field.setSelectionRange(0, 0); }
});

/** Through a gate the cursor goes to what is asked behind it; within the tap itself, or a phone would not bring up its keyboard. */
function openGate(gate) {
  gate.querySelector("summary").addEventListener("click", (event) => {
    if (gate.open) { return; }
    event.preventDefault();
    gate.open = true;
    all("input[type=text]", gate).find((field) => !field.value && field.checkVisibility())?.focus();
  });
}

const plainTitle = document.title;

/** What waits: how long still, and when it is time, here and in the title. */
function countDown() {
  due = [];
  for (const time of all("time[data-again]")) {
    time.dataset.shown ??= time.textContent;
    const minutes = Math.ceil((new Date(time.dateTime) - Date.now()) / 60000);
    const long = minutes < 120 ? `${minutes} min` : `${Math.floor(minutes / 60)} h ${minutes % 60} min`;
    time.textContent = minutes > 0 ? inWords("{time} (in {long})", { time: time.dataset.shown, long }) : inWords("{time}, now", { time: time.dataset.shown });
    if (minutes <= 0) { due.push(time.closest("li, p, a")?.textContent.trim() || time.textContent); }
  }
  document.title = due.length ? `${inWords("Due now")} · ${plainTitle}` : plainTitle;
}

const SIGN = { width: 1000, height: 400, strokes: 200, numbers: 20000, near: 3 };

/** Drawing a signature: strokes as lists of whole numbers, kept in the hidden field; no stroke, no value. */
function signOn(canvas) {
  const form = canvas.closest("form"), field = named(form, canvas.dataset.sign)[0];
  field.dataset.drawn = inWords("Signature");
  const pen = canvas.getContext("2d");
  Object.assign(canvas, { width: SIGN.width, height: SIGN.height });
  canvas.style.touchAction = "none"; // the finger draws and does not scroll
  const otherWays = inWords("A signature cannot be drawn with a keyboard. Every other way to approve works: in person without a signature, by phone, by message.");
  const hint = made("p", otherWays, { class: "unseen", id: `${canvas.dataset.sign}-keys` });
  canvas.setAttribute("role", "img");
  canvas.setAttribute("aria-describedby", `${canvas.getAttribute("aria-describedby") || ""} ${hint.id}`.trim());
  canvas.after(key(inWords("Clear the signature"), () => { strokes = []; keep(); }), hint);
  let strokes = [], stroke = null;

  function draw() {
    pen.clearRect(0, 0, SIGN.width, SIGN.height);
    Object.assign(pen, { lineWidth: 5, lineCap: "round", lineJoin: "round", strokeStyle: getComputedStyle(canvas).color });
    for (const points of strokes) {
      pen.beginPath();
      pen.moveTo(points[0], points[1]);
      for (let at = 0; at < points.length; at += 2) { pen.lineTo(points[at], points[at + 1]); }
      pen.stroke();
    }
    canvas.setAttribute("aria-label", strokes.length ? inWords("Signature, drawn") : inWords("Signature, empty"));
  }
  function keep() {
    field.value = strokes.length ? JSON.stringify(strokes) : "";
    field.dispatchEvent(new Event("input", { bubbles: true }));
    draw();
  }
  function readBack() {
    try { strokes = JSON.parse(field.value || "[]"); } catch { strokes = []; }
    draw();
  }
  function point(event) {
    const box = canvas.getBoundingClientRect();
    const within = (part, most) => Math.round(Math.min(Math.max(part, 0), 1) * most);
    return [within((event.clientX - box.left) / box.width, SIGN.width), within((event.clientY - box.top) / box.height, SIGN.height)];
  }
  canvas.addEventListener("pointerdown", (event) => {
    if (!event.isPrimary || event.button || strokes.length >= SIGN.strokes) { return; }
    canvas.setPointerCapture(event.pointerId);
    stroke = point(event);
    strokes.push(stroke);
    draw();
  });
  canvas.addEventListener("pointermove", (event) => {
    if (!stroke || !event.isPrimary) { return; }
    for (const part of event.getCoalescedEvents?.() || [event]) {
      const [x, y] = point(part);
      if (Math.hypot(x - stroke.at(-2), y - stroke.at(-1)) >= SIGN.near && strokes.flat().length < SIGN.numbers - 1) { stroke.push(x, y); }
    }
    draw();
  });
  for (const end of ["pointerup", "pointercancel"]) {
    canvas.addEventListener(end, () => { if (stroke) { stroke = null; keep(); } });
  }
  form.addEventListener("corekit:restored", readBack);
  readBack();
}

const PHOTO = { side: 1600, quality: 0.85 };

/** A photo as it is sent: at most 1600 pixels, a JPEG that says nothing of where it was taken. */
async function madeSmall(file) {
  const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
  const scale = Math.min(1, PHOTO.side / Math.max(picture.width, picture.height));
  const canvas = Object.assign(document.createElement("canvas"), { width: Math.round(picture.width * scale), height: Math.round(picture.height * scale) });
  canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
  picture.close();
  return new Promise((resolve, reject) => canvas.toBlob((blob) => (blob ? resolve(blob) : reject(new Error("no picture"))), "image/jpeg", PHOTO.quality));
}

function takePhoto(field) {
  const shown = made("div", "", { class: "photo-shown", role: "status" });
  field.after(shown);
  const show = async () => {
    for (const image of all("img", shown)) { URL.revokeObjectURL(image.src); }
    shown.replaceChildren();
    photos.delete(field);
    const file = field.files[0];
    if (!file) { return; }
    const small = madeSmall(file).catch(() => null);
    photos.set(field, small);
    const blob = await small;
    if (field.files[0] !== file) { return; }
    if (!blob) { shown.append(made("p", inWords("This browser cannot show that file; it is sent as it is."), { class: "soft" })); return; }
    shown.append(made("img", "", { src: URL.createObjectURL(blob), alt: inWords("The photo as it will be sent") }));
  };
  field.addEventListener("change", show);
}

/** Only the items that hold every word that was typed; a heading goes with its last item. */
function filter(box) {
  const sought = box.querySelector("input"), where = document.getElementById(box.dataset.filter);
  box.hidden = false;
  sought.addEventListener("input", () => {
    const words = sought.value.toLowerCase().split(/\s+/).filter(Boolean);
    for (const item of all("li", where)) { item.hidden = !words.every((word) => item.textContent.toLowerCase().includes(word)); }
    for (const list of all("ul, ol", where)) {
      list.hidden = [...list.children].every((item) => item.hidden);
      if (/^H[2-4]$/.test(list.previousElementSibling?.tagName)) { list.previousElementSibling.hidden = list.hidden; }
    }
    const none = box.querySelector("[data-none]");
    if (none) { none.hidden = all("li", where).some((item) => !item.hidden); }
  });
}

/** A new job under an id of the phone's own. */
function begin(form) {
  const drawnThere = form.dataset.begins, id = drawn(12, LETTERS);
  const next = all("input[name=next]", form).map((field) => [field, "value"]);
  for (const [element, name] of [[form, "action"], [form, "data-try"], [form, "data-after"], ...next]) {
    if (drawnThere && element.hasAttribute(name)) { element.setAttribute(name, element.getAttribute(name).replace(drawnThere, id)); }
  }
}

// ── the pages kept by the service worker ─────────────────────────────────────────────────────────────────────────────

function ahead() {
  try { return JSON.parse(document.querySelector("main")?.dataset.ahead || "[]").filter((path) => typeof path === "string"); } catch { return []; }
}

async function fetchAhead() {
  if (!window.isSecureContext || !navigator.serviceWorker) { return; } // plain http from elsewhere: the screens work, without copies
  try {
    // The first screen came past the worker, and so may one that was asked for while the worker was just beginning; of neither it has a copy yet.
    const isPast = !performance.getEntriesByType("navigation")[0]?.workerStart;
    await navigator.serviceWorker.register("/sw.js", { scope: "/" });
    const worker = (await navigator.serviceWorker.ready).active;
    const steps = /^\/job\/[^/?]+/.exec(HERE);
    const wanted = [...(isPast ? [HERE] : []), ...ahead(), ...(steps ? [`${steps[0]}/way`] : [])];
    if (!asOf && !missing) { worker.postMessage({ ahead: wanted, once: ["/queue", "/"] }); }
  } catch { /* a browser that keeps nothing for us; everything else works */ }
}

/** Delete the copies that the worker kept, also where it has no hand in this page; what it is just fetching it then keeps no more. */
async function forgetCopies() {
  try {
    await caches.delete("corekit-pages-1");
    (await navigator.serviceWorker.getRegistration())?.active?.postMessage({ forget: true });
  } catch { /* plain http from elsewhere: there are none */ }
}

/** A screen does not go on showing what it shows after the door is locked. */
async function stillLetIn() {
  if (document.body.dataset.lock && await isLetIn() === false) {
    keepDrafts();
    state.resting = true;
    location.replace(`/door?next=${encodeURIComponent(HERE)}`);
  }
}

// ── beginning ────────────────────────────────────────────────────────────────────────────────────────────────────────

function wakeUp() {
  state.pause = 0;
  if (missing) { trySoon(); } else { send(); }
}

all("[data-scripted]").forEach((element) => { element.hidden = false; });
all("form[data-begins]").forEach(begin);
all('form[action="/door/lock"]').forEach((form) => form.addEventListener("submit", forgetCopies));
all("canvas[data-sign]").forEach(signOn);
all("input[data-photo]").forEach(takePhoto);
all("[data-filter]").forEach(filter);
all("details.gate").forEach(openGate);
all("button[data-share]").forEach(shareBy);
all("input[data-scan]").forEach(scanInto);
all("button[data-back]").forEach((button) => {
  button.hidden = false;
  button.addEventListener("click", () => (history.length > 1 ? history.back() : location.assign("/")));
});
dropOldDrafts();
bringDraftsBack();
all("form[data-try]").forEach(tryWhileTyping);
countDown();
setInterval(() => { countDown(); showLine(); }, 15000);

const keepSoon = later(keepDrafts, DRAFT_MS);
document.addEventListener("input", keepSoon);
document.addEventListener("change", keepSoon);
window.addEventListener("pagehide", keepDrafts);
window.addEventListener("online", wakeUp);
document.addEventListener("visibilitychange", () => {
  if (document.visibilityState === "hidden") { keepDrafts(); return; }
  stillLetIn();
  wakeUp();
});
window.addEventListener("pageshow", (event) => {
  if (!event.persisted) { return; } // a page brought back as it was left: its buttons are still off
  state.resting = false;
  state.ledAway = -Infinity;
  formsOfPage().forEach(wake);
  stillLetIn();
});
if (Number(document.body.dataset.lock)) { setInterval(stillLetIn, Math.max(Number(document.body.dataset.lock), 5) * 1000 + 2000); }
showLine();
payOwed();
wakeUp();
fetchAhead();
