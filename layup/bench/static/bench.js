// What every page does: an edit is sent as it is made and the changed regions take the place of the old ones; what is typed
// is kept on the disk before it is entered; plies are dragged. Without this script every form still works by its button.

document.documentElement.classList.add("js");
const file = document.body.dataset.file;
let chain = Promise.resolve();          // edits follow each other, each on what the one before made
let version = document.querySelector('input[name="base"]')?.value || "";

export function region(name) { return document.querySelector(`[data-region="${name}"]`); }

/** Put the regions of a page in the place of those that stand; the field in use keeps its focus and its text. */
export function swap(text, moved = key => key) {
  const page = new DOMParser().parseFromString(text, "text/html");
  const active = document.activeElement, held = moved(active?.id || "");
  const caret = held && "selectionStart" in active ? safely(() => [active.selectionStart, active.selectionEnd]) : null;
  const open = new Set([...document.querySelectorAll("details[data-key][open]")].map(one => moved(one.dataset.key)));
  let fresh = 0;
  for (const old of document.querySelectorAll("[data-region]")) {
    const now = page.querySelector(`[data-region="${old.dataset.region}"]`);
    if (now && now.innerHTML !== old.dataset.came) {
      old.replaceChildren(...now.cloneNode(true).childNodes);
      old.className = now.className;
      old.dataset.came = now.innerHTML;
      fresh++;
    }
  }
  for (const one of document.querySelectorAll("details[data-key]")) one.open = open.has(one.dataset.key);
  version = page.querySelector('input[name="base"]')?.value || version;
  for (const [id, words] of dirty) {
    const field = document.getElementById(moved(id));
    if (field && field.value !== words) field.value = words;
  }
  const again = held && document.getElementById(held);
  if (again && again !== document.activeElement) {
    again.focus({ preventScroll: true });
    if (caret && caret[0] !== null) safely(() => again.setSelectionRange(...caret));
  }
  prepare();
  document.dispatchEvent(new CustomEvent("bench:swapped", { detail: { fresh } }));
}

/** How numbers in ids change when an entry was moved, doubled or taken out, so that what was open stays open. */
function renumbered(data) {
  const table = data.get("table"), n = +data.get("number"), op = data.get("op");
  const to = { up: n - 1, down: n + 1, move: +data.get("to") }[op];
  const where = at => to !== undefined ? (at === n ? to : at > n && at <= to ? at - 1 : at < n && at >= to ? at + 1 : at)
    : op === "copy" && at > n ? at + 1 : op === "drop" && at > n ? at - 1 : op === "drop" && at === n ? -1 : at;
  return key => table ? key.replace(new RegExp(`((?:^|-)${table}-)(\\d+)`), (_, head, at) => head + where(+at)) : key;
}
function safely(what) { try { return what(); } catch { return null; } }

/** Send a form as an edit; gives what the server answered. */
export function send(form, button, more = {}) {
  chain = chain.then(() => sendNow(form, button, more)).catch(problem);
  return chain;
}

async function sendNow(form, button, more) {
  const data = new URLSearchParams();
  for (const [name, value] of new FormData(form)) if (typeof value === "string") data.set(name, value);
  if (button?.name) data.set(button.name, button.value);
  for (const [name, value] of Object.entries(more)) data.set(name, value);
  if (data.has("base")) data.set("base", version);
  data.set("script", "1");
  document.body.classList.add("working");
  try {
    const answer = await fetch(form.action, { method: "POST", body: data, headers: { "X-Bench": "1" } });
    const text = await answer.text();
    if (answer.status === 409) { await refresh(); tell(message(text), true); return; }
    refused(form, button, answer.ok ? "" : message(text));
    if (!answer.ok) { tell(message(text), true); return; }
    for (const field of form.elements) if (field.id) entered(field.id);
    swap(text, renumbered(data));
    return true;
  } finally { document.body.classList.remove("working"); }
}

export async function refresh() {
  const answer = await fetch(location.href);
  if (answer.ok) swap(await answer.text()); else tell(message(await answer.text()), true);
}

function message(text) {
  const page = new DOMParser().parseFromString(text, "text/html");
  return page.querySelector("#said .wrong")?.textContent || page.body.textContent.slice(0, 400);
}
export function tell(text, wrong = false) {
  const line = document.createElement("p");
  line.className = wrong ? "wrong" : "good"; line.textContent = text;
  region("said").replaceChildren(line);
  region("said").dataset.came = "";
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

let pressed = { which: "", at: -1e9 };
document.addEventListener("submit", event => {
  const form = event.target;
  if (!form.matches("form[data-swap]") || form.enctype === "multipart/form-data") return;
  event.preventDefault();
  const button = event.submitter, now = performance.now();
  const which = `${form.getAttribute("action")} ${form.elements.table?.value} ${form.elements.number?.value} ${button?.value}`;
  const bounced = which === pressed.which && now - pressed.at < 500;   // one press of a gloved finger, counted twice
  if (bounced) return;
  pressed = { which, at: now };
  send(form, button).then(done => { if (done && form.classList.contains("adder")) form.reset(); });
});
document.addEventListener("change", event => {
  const form = event.target.form;
  if (!form?.matches("form[data-auto]") || ["newkey", "newvalue"].includes(event.target.name)) return;
  send(form, null, { op: "save" });
});

// What is being typed, kept before it is entered: at once in the browser, and on the disk as soon as the page answers.
const dirty = new Map();
const shelf = `typed|${file}|`;
let keeping = null;
document.addEventListener("input", event => {
  const field = event.target;
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
  const to = `/part/typed?file=${encodeURIComponent(file)}`;
  const answer = await fetch(to, { method: "POST", body, keepalive: true }).catch(() => null);
  if (answer?.ok) safely(() => localStorage.getItem(shelf + field) === text && localStorage.removeItem(shelf + field));
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
  if (document.hidden || document.querySelector('dialog[open]') || document.body.classList.contains("working")) return;
  const answer = await fetch(`/part/version?file=${encodeURIComponent(file)}`).catch(() => null);
  missed = answer ? 0 : missed + 1;
  const now = answer ? answer.ok ? "" : message(await answer.text()) : missed > 1 ? `${ended}.` : trouble;
  if (now !== trouble) { trouble = now; if (now) tell(now, true); else region("said").replaceChildren(); }
  if (!answer?.ok) return;
  const [text, state] = (await answer.text()).split(" "), shown = document.getElementById("state")?.dataset.state;
  if (text !== version || (shown && state !== shown)) refresh();   // the file, or what it names, or the shop's record
}, 2500);

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

for (const one of document.querySelectorAll("[data-region]")) one.dataset.came = one.innerHTML;
prepare();
for (const one of document.querySelectorAll(".unsent")) for (let box = one.closest("details"); box; box = box.parentElement.closest("details")) box.open = true;
