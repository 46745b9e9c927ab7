// What every page does: an edit is sent as it is made and the changed regions take the place of the old ones; what is typed
// is kept on the disk before it is entered; plies are dragged. Without this script every form still works by its button.

document.documentElement.classList.add("js");
const file = document.body.dataset.file;
const queue = [];                       // edits on their way; they follow each other, each on what the one before made
let chain = Promise.resolve();
let version = document.querySelector('input[name="base"]')?.value || "";
/** Where the page lies on this machine: "/", or a word that other servers here are not told. */
export const root = new URL("..", import.meta.url).pathname;

export function region(name) { return document.querySelector(`[data-region="${name}"]`); }

const FIELDS = "input:not([type=hidden]):not([type=file]), select, textarea";
/** A name for a field or a button that holds when its region is made anew; "" for what has none. */
function keyOf(one) {
  if (!one || one === document.body) return "";
  if (one.matches("summary")) return `summary|${one.parentElement.dataset.key || ""}`;
  const which = /radio|checkbox|submit/.test(one.type) ? one.value : "";
  return one.id || (one.name && one.form ? `${formKey(one.form)}|${one.name}|${which}` : "");
}
function formKey(form) {
  const held = name => form.elements.namedItem(name)?.value ?? "";
  return [form.getAttribute("action"), form.id, held("op"), `${held("table")}-${held("number")}`].join("|");
}
function find(key, within = document) {
  return !key ? null : key.startsWith("summary|") ? within.querySelector(`details[data-key="${CSS.escape(key.slice(8))}"] > summary`)
    : document.getElementById(key) || [...within.querySelectorAll(`${FIELDS}, button`)].find(one => keyOf(one) === key);
}
const stands = one => /radio|checkbox/.test(one.type) ? String(one.checked) : one.value;
const came = one => one.matches("select") ? ([...one.options].find(o => o.defaultSelected) || one.options[0])?.value ?? ""
  : /radio|checkbox/.test(one.type) ? String(one.defaultChecked) : one.defaultValue;
function put(one, text) { if (/radio|checkbox/.test(one.type)) one.checked = text === "true"; else one.value = text; }

/** Put the regions of an answer in the place of those that stand. What a person typed or chose and did not send stays,
 * as do the focus, the caret and what was open. `sent` says what was sent with the edit that this answers. */
export function swap(text, moved = key => key, sent = new Map()) {
  const page = new DOMParser().parseFromString(text, "text/html");
  const active = document.activeElement, held = moved(keyOf(active));
  const caret = held && "selectionStart" in active ? safely(() => [active.selectionStart, active.selectionEnd]) : null;
  const place = active?.closest?.("[data-region]")?.dataset.region;
  const open = new Set([...document.querySelectorAll("details[data-key][open]")].map(one => moved(one.dataset.key)));
  const typed = new Map();
  for (const one of document.querySelectorAll(FIELDS)) {
    const key = keyOf(one), now = stands(one);
    if (key && now !== came(one) && sent.get(key) !== now) typed.set(moved(key), now);
  }
  const names = from => [...from.querySelectorAll("[data-region]")].map(one => one.dataset.region).sort().join();
  const whole = page.querySelector("main");
  let fresh = 0;
  if (whole && names(page) !== names(document)) {        // other regions than before: a file that broke, or was mended
    document.getElementById("main").replaceChildren(...whole.childNodes);
    fresh++;
  }
  for (const now of page.querySelectorAll("[data-region]")) {
    const old = region(now.dataset.region);
    if (!old || (old.dataset.mark && old.dataset.mark === now.dataset.mark)) continue;
    old.replaceChildren(...now.childNodes);
    old.className = now.className;
    old.dataset.mark = now.dataset.mark || "";
    fresh++;
    for (const one of old.querySelectorAll(FIELDS)) if (typed.has(keyOf(one))) put(one, typed.get(keyOf(one)));
  }
  for (const one of document.querySelectorAll("details[data-key]")) one.open = open.has(one.dataset.key);
  const again = find(held);
  if (again && again !== document.activeElement) {
    again.focus({ preventScroll: true });
    if (caret && caret[0] !== null) safely(() => again.setSelectionRange(...caret));
  } else if (place && document.activeElement === document.body) {   // what was pressed is gone: its place has the focus
    region(place)?.setAttribute("tabindex", "-1");
    region(place)?.focus({ preventScroll: true });
  }
  const change = region("bar")?.querySelector(".last")?.innerText || "", told = document.getElementById("told");
  if (told.textContent !== change) told.textContent = change;       // the change alone, not the whole bar
  prepare();
  document.dispatchEvent(new CustomEvent("bench:swapped", { detail: { fresh } }));
}

/** Where an entry stands after another was moved, doubled or taken out; "gone" for the one that is. */
function renumbered(data) {
  const table = data.get("table"), n = +data.get("number"), op = data.get("op");
  const to = { up: n - 1, down: n + 1, move: +data.get("to") }[op];
  const where = at => to !== undefined ? (at === n ? to : at > n && at <= to ? at - 1 : at < n && at >= to ? at + 1 : at)
    : op === "copy" && at > n ? at + 1 : op === "drop" && at > n ? at - 1 : op === "drop" && at === n ? "gone" : at;
  for (const edit of queue) {             // what was pressed meanwhile means the entry it stood on
    if (!table || edit.data === data || edit.data.get("table") !== table || !edit.data.has("number")) continue;
    edit.data.set("number", where(+edit.data.get("number")));
  }
  return key => table ? key.replace(new RegExp(`((?:^|[-|])${table}-)(\\d+)`), (_, head, at) => head + where(+at)) : key;
}
function safely(what) { try { return what(); } catch { return null; } }

// While a finger or the mouse is down nothing is put in another's place: the press would be lost with what it stands on.
let letGo = null, resting = Promise.resolve();
for (const kind of ["pointerdown", "keydown"]) addEventListener(kind, event => {
  if (kind === "keydown" && !(event.key === " " && event.target.closest("button, summary"))) return;
  if (!letGo) resting = new Promise(done => { letGo = done; setTimeout(done, 4000); });
}, true);
for (const kind of ["pointerup", "pointercancel", "keyup", "blur"]) addEventListener(kind, event => {
  if (kind === "blur" && event.target !== window) return;
  const done = letGo;
  letGo = null;
  setTimeout(() => done?.());             // after the click that comes of it
}, true);

/** Send a form as an edit, as it stands now; gives whether it was done. */
export function send(form, button, more = {}) {
  const data = new URLSearchParams(), sent = new Map();
  for (const [name, value] of new FormData(form)) if (typeof value === "string") data.set(name, value);
  for (const one of form.elements) if (keyOf(one) && one.matches(FIELDS)) sent.set(keyOf(one), stands(one));
  if (button?.name) data.set(button.name, button.value);
  for (const [name, value] of Object.entries(more)) data.set(name, value);
  data.set("script", "1");
  const edit = { form, which: formKey(form), button, name: keyOf(button), data, sent };
  queue.push(edit);
  const done = chain.then(() => sendNow(edit)).catch(problem);
  chain = done.finally(() => queue.splice(queue.indexOf(edit), 1));
  return done;
}

async function sendNow({ form, which, button, name, data, sent }) {
  if (data.get("number") === "gone") return;
  if (data.has("base")) data.set("base", version);
  document.body.classList.add("working");
  try {
    const answer = await fetch(form.action, { method: "POST", body: data, headers: marks() });
    const text = await answer.text();
    await resting;
    if (answer.status === 409) { await refreshNow(); tell(message(text), true); return; }
    const there = document.contains(form) ? form : [...document.forms].find(one => formKey(one) === which) || form;
    refused(there, button?.isConnected ? button : find(name, there), answer.ok ? "" : message(text));
    if (!answer.ok) { tell(message(text), true); return; }
    for (const [key, value] of sent) if (dirty.get(key) === value) entered(key);
    based(answer);
    swap(text, renumbered(data), sent);
    if (there.classList.contains("adder")) for (const one of there.querySelectorAll(FIELDS)) if (sent.get(keyOf(one)) === stands(one)) put(one, came(one));
    return true;
  } finally { document.body.classList.remove("working"); }
}
/** What this page shows: the answer holds only the regions that are other than these. */
function marks() {
  const shown = [...document.querySelectorAll("[data-region]")].map(one => `${one.dataset.region}=${one.dataset.mark || ""}`);
  return { "X-Marks": shown.join() };
}
function based(answer) {
  version = answer.headers.get("x-version") || version;
  for (const one of document.querySelectorAll('input[name="base"]')) one.value = version;
}

export function refresh() { return chain = chain.then(refreshNow).catch(problem); }
async function refreshNow() {
  const answer = await fetch(location.href, { headers: marks() }), text = await answer.text();
  await resting;
  if (!answer.ok) { tell(message(text), true); return; }
  based(answer);
  swap(text);
}

function message(text) {
  const page = new DOMParser().parseFromString(text, "text/html");
  return page.querySelector("#said .wrong")?.textContent || page.body.textContent.slice(0, 400);
}
export function tell(text, wrong = false) {
  const line = document.createElement("p");
  line.className = wrong ? "wrong" : "good"; line.textContent = text;
  region("said").replaceChildren(line);
  region("said").dataset.mark = "";
}
/** What was refused, right where it was pressed or typed; the line at the head says it too. */
function refused(form, button, text) {
  for (const one of document.querySelectorAll(".refused")) one.remove();
  const field = form.contains(document.activeElement) ? document.activeElement.closest("label") : null;
  const place = button?.closest(".row, .buttons, .start") || button || field || form.lastElementChild;
  if (!text || !place) return;
  const line = Object.assign(document.createElement("p"), { className: "wrong refused", textContent: text });
  if (place.matches(".adder > *")) form.append(line); else place.after(line);
}
const ended = "The bench page does not answer. Start it again in the terminal and open the address it prints. What was "
  + "entered before is saved, what stands typed in a field comes back";
function problem() { tell(`${ended}; press the last button again.`, true); }
const fixed = document.querySelector(".bar") || document.querySelector(".top");
if (fixed) new ResizeObserver(() => {                   // how much of the window is taken, so that nothing hides behind it
  const whole = document.querySelector(".fixed"), high = getComputedStyle(whole).display === "contents" ? fixed.offsetHeight : whole.offsetHeight;
  document.documentElement.style.setProperty("--fixed", `${high}px`);
}).observe(fixed);
document.addEventListener("click", event => {          // a list that was opened is closed by a press beside it
  for (const one of document.querySelectorAll("details.switch[open]")) if (!one.contains(event.target)) one.open = false;
});

document.addEventListener("click", event => {          // a way to another page waits for the edits that are on theirs
  const link = event.target.closest?.("a[href]");
  if (!queue.length || !link || link.target || event.defaultPrevented || event.ctrlKey || event.metaKey || event.shiftKey || event.button) return;
  event.preventDefault();
  chain.then(() => { location.href = link.href; });
});

let pressed = { which: "", at: -1e9 };
document.addEventListener("submit", event => {
  const form = event.target;
  if (!form.matches("form[data-swap]") || form.enctype === "multipart/form-data") return;
  event.preventDefault();
  const button = event.submitter, now = performance.now(), which = `${formKey(form)} ${button?.value}`;
  const bounced = which === pressed.which && now - pressed.at < 500;   // one press of a gloved finger, counted twice
  if (bounced) return;
  pressed = { which, at: now };
  send(form, button);
});
document.addEventListener("change", event => {
  const form = event.target.form;
  if (!form?.matches("form[data-auto]")) return;
  send(form, null, { op: "save" });
});

// What is being typed, kept before it is entered: at once in the browser, and on the disk as soon as the page answers.
const dirty = new Map();
const shelf = `typed|${file}|`;
let keeping = null;
document.addEventListener("input", event => {
  const field = event.target;
  pressed.which = "";                     // something was typed since: the next press is another one
  if (!file || !field.id?.startsWith("f-") || !field.matches("input:not([type=file]), textarea")) return;
  dirty.set(field.id, field.value);
  safely(() => localStorage.setItem(shelf + field.id, field.value));
  clearTimeout(keeping);
  keeping = setTimeout(keep, 150);
});
function keep() {
  for (const [field, text] of dirty) post(field, text);
}
async function post(field, text) {
  const body = new URLSearchParams({ field, text, keep: "1" });
  const to = `${root}part/typed?file=${encodeURIComponent(file)}`;
  const answer = await fetch(to, { method: "POST", body, keepalive: true }).catch(() => null);
  // Not at once: a page that was asked for before this word arrived shows the old value, and looks here for the new one.
  const drop = () => safely(() => localStorage.getItem(shelf + field) === text && localStorage.removeItem(shelf + field));
  if (answer?.ok) setTimeout(drop, 10_000);
}
function entered(field) {
  dirty.delete(field);
  safely(() => localStorage.removeItem(shelf + field));
}
addEventListener("pagehide", keep);
safely(() => {                           // typed while the page did not answer
  for (const name of Object.keys(localStorage)) {
    if (!file || !name.startsWith(shelf)) continue;
    const field = document.getElementById(name.slice(shelf.length)), text = localStorage.getItem(name);
    if (!field) { localStorage.removeItem(name); continue; }
    field.value = text;
    dirty.set(field.id, text);
    post(field.id, text);
  }
});

// Another window, or another program, changed the part; or it is gone, or the program ended.
let missed = 0, trouble = "";
if (version && file) setInterval(async () => {
  if (document.hidden || queue.length) return;
  const answer = await fetch(`${root}part/version?file=${encodeURIComponent(file)}`).catch(() => null);
  missed = answer ? 0 : missed + 1;
  const now = answer ? answer.ok ? "" : message(await answer.text()) : missed > 1 ? `${ended}.` : trouble;
  if (now !== trouble) { trouble = now; if (now) tell(now, true); else region("said").replaceChildren(); }
  if (!answer?.ok) return;
  const [text, state] = (await answer.text()).split(" "), shown = document.getElementById("state")?.dataset.state;
  if (text !== version || (shown && state !== shown)) refresh();   // the file, or what it names, or the shop's record
}, 2500);

// Another device of the shop: this screen says who is let in; on that one, what can't be done there can't be pressed.
setInterval(async () => {
  const now = document.querySelector("[data-pairing]");
  if (!now || document.hidden) return;
  const answer = await fetch(`${root}pair/state`).catch(() => null);
  if (answer?.ok && await answer.text() !== now.dataset.pairing) refresh();
}, 2500);
function onlyLook() {
  const guest = document.body.dataset.guest;
  for (const form of guest ? document.querySelectorAll('form[method="post"]') : [])
    if (!(guest === "weigh" && form.id === "weigh")) for (const one of form.elements) one.disabled = true;
}
document.addEventListener("bench:swapped", onlyLook);
onlyLook();

// Fields that belong to one of several choices; a file dropped on its place; plies dragged by their handle.
function prepare() {
  for (const form of document.querySelectorAll("form")) {
    const chosen = form.querySelector('input[name="form"]:checked, select[name="kind"]')?.value;
    if (chosen) for (const part of form.querySelectorAll("[data-for]")) part.hidden = !part.dataset.for.split(" ").includes(chosen);
  }
}
document.addEventListener("change", prepare);
for (const kind of ["dragover", "dragleave", "drop"]) document.addEventListener(kind, event => {
  const area = event.target.closest?.(".drop");
  if (!area) { if (kind !== "dragleave") event.preventDefault(); return; }
  event.preventDefault();
  area.classList.toggle("over", kind === "dragover");
  if (kind === "drop" && event.dataTransfer.files.length) {
    const input = area.querySelector("input[type=file]");
    input.files = event.dataTransfer.files;
    input.dispatchEvent(new Event("change", { bubbles: true }));
  }
});

let dragged = null;
document.addEventListener("pointerdown", event => {
  const handle = event.target.closest?.(".handle");
  if (!handle) return;
  dragged = handle.closest("li");
  dragged.classList.add("dragged");
  handle.setPointerCapture(event.pointerId);
  event.preventDefault();
});
document.addEventListener("pointermove", event => {
  if (!dragged) return;
  const near = over(event.clientY);
  for (const one of dragged.parentElement.children) one.classList.remove("before", "after");
  if (near && near.item !== dragged) near.item.classList.add(near.after ? "after" : "before");
  if (event.clientY < 120) scrollBy(0, -12); else if (event.clientY > innerHeight - 60) scrollBy(0, 12);
});
for (const end of ["pointerup", "pointercancel"]) document.addEventListener(end, event => {
  if (!dragged) return;
  const item = dragged, near = end === "pointerup" ? over(event.clientY) : null;
  dragged = null;
  item.classList.remove("dragged");
  for (const one of item.parentElement.children) one.classList.remove("before", "after");
  if (!near || near.item === item) return;
  const from = +item.dataset.number, at = +near.item.dataset.number + (near.after ? 1 : 0);
  const to = at > from ? at - 1 : at;
  if (to !== from) send(item.querySelector("form"), null, { op: "move", to });
});
function over(y) {
  const items = [...dragged.parentElement.children];
  const item = items.find(one => y < one.getBoundingClientRect().bottom) || items[items.length - 1];
  const box = item.getBoundingClientRect();
  return { item, after: y > box.top + box.height / 2 };
}

prepare();
for (const one of document.querySelectorAll(".unsent")) for (let box = one.closest("details"); box; box = box.parentElement.closest("details")) box.open = true;
