// The keypad and the weight said again while it is typed. The fields are plain inputs: a keyboard types into them too.
import { root, swap } from "./bench.js";

const form = document.getElementById("weigh");
const pad = document.querySelector(".keypad");
const file = document.body.dataset.file;
const fields = () => [...document.querySelectorAll(".figure input")];
let active = null, asked = 0, waiting = null;

function choose(field, focus = false) {
  active = field;
  for (const one of fields()) one.classList.toggle("active", one === field);
  if (focus) field?.focus({ preventScroll: true });
}

function prepare() {
  const all = fields();
  for (const one of all) one.inputMode = "none";            // the keypad is on the page; the tablet's own stays down
  if (!all.includes(active)) choose(all.find(one => one.id === active?.id) || all.find(one => !one.value) || all[0]);
  const unit = form.elements.unit.value;
  pad.classList.toggle("whole", !["lb-oz", "oz"].includes(unit));
}

function press(key) {
  const field = key.includes("/") ? (fields().find(one => one.name === "oz") || active) : active;
  if (!field) return;
  const text = field.value;
  let start = text.length, end = text.length;
  if (document.activeElement === field) [start, end] = [field.selectionStart, field.selectionEnd];
  if (key === "clear") { for (const one of fields()) set(one, ""); choose(fields()[0], true); return; }
  if (key === "back") {
    if (start === end) {
      const tail = /\s*\d+\/\d+$/.exec(text.slice(0, start));  // a fraction goes in one
      start -= tail ? tail[0].length : start > 0 ? 1 : 0;
    }
    set(field, text.slice(0, start) + text.slice(end), start);
  } else if (key.includes("/")) {
    const whole = text.replace(/\s*\d+\/\d+\s*$/, "").replace(/\.\d*$/, "").trim();
    set(field, whole ? `${whole} ${key}` : key);
  } else {
    set(field, text.slice(0, start) + key + text.slice(end), start + 1);
  }
  choose(field, true);
}

function set(field, text, caret = text.length) {
  field.value = text;
  field.setSelectionRange(caret, caret);
  field.dispatchEvent(new Event("input", { bubbles: true }));
}

async function sayAgain() {
  const query = new URLSearchParams({ file, unit: form.elements.unit.value });
  for (const one of fields()) query.set(one.name, one.value);
  const turn = ++asked;
  const answer = await fetch(`${root}weigh/said?${query}`).catch(() => null);
  if (answer?.ok && turn === asked) swap(await answer.text());
}

pad.addEventListener("pointerdown", event => { if (event.target.closest("[data-key]")) event.preventDefault(); });
pad.addEventListener("click", event => {
  const key = event.target.closest("[data-key]");
  if (!key) return;
  const byKeys = document.activeElement === key;
  press(key.dataset.key);
  if (byKeys) key.focus();                                   // whoever walks the keypad with arrows stays on it
});
pad.addEventListener("keydown", event => {
  const keys = [...pad.querySelectorAll("[data-key]")].filter(one => one.offsetParent);
  const at = keys.indexOf(document.activeElement);
  const across = pad.classList.contains("whole") ? 4 : 5;
  const step = { ArrowRight: 1, ArrowLeft: -1, ArrowDown: across, ArrowUp: -across }[event.key];
  if (at < 0 || !step) return;
  event.preventDefault();
  const next = keys[Math.min(Math.max(at + step, 0), keys.length - 1)];
  for (const one of keys) one.tabIndex = one === next ? 0 : -1;
  next.focus();
});
document.addEventListener("focusin", event => { if (event.target.matches(".figure input")) choose(event.target); });
document.addEventListener("input", event => {
  if (!event.target.matches(".figure input")) return;
  const echo = document.querySelector('[data-region="echo"]');
  echo.dataset.mark = "";
  echo.querySelector('[name="echoed"]')?.remove();   // what was said before is not this weight
  clearTimeout(waiting);
  waiting = setTimeout(sayAgain, 120);
});

// Enter pressed before the weight was said back: it is said first, then saved, or nobody would have seen how it was read.
let said = false;
form.addEventListener("submit", async event => {
  const note = event.submitter?.value === "note", echoed = form.elements.echoed;
  if (said || !note || echoed || !fields().some(one => one.value.trim())) { said = false; return; }
  event.preventDefault();
  event.stopPropagation();
  clearTimeout(waiting);
  await sayAgain();
  said = true;
  form.requestSubmit(event.submitter);
});

// What was still on its way to be kept when the weight was noted is not typed any more.
function forget() {
  for (const one of fields()) {
    if (one.value) continue;
    fetch(`${root}part/typed?file=${encodeURIComponent(file)}`, { method: "POST", body: new URLSearchParams({ field: one.id, text: "" }) }).catch(() => {});
  }
}

const entry = () => document.querySelector("#weighed")?.closest("section").querySelector(".big span")?.textContent || "";
let last = entry();
document.addEventListener("bench:swapped", () => {
  prepare();
  if (entry() !== last) {                                    // a weight was noted: show what it says
    last = entry();
    setTimeout(forget, 500);
    if (matchMedia("(max-width: 1100px)").matches) document.getElementById("result").scrollIntoView({ block: "start" });
  }
});
prepare();

/** The stages stand in one strip on a phone: the one that is chosen is in sight. */
function strip() {
  const row = document.querySelector(".stages .choices"), chosen = row?.querySelector('[aria-pressed="true"]');
  if (chosen) row.scrollLeft = chosen.offsetLeft - row.offsetLeft - (row.clientWidth - chosen.clientWidth) / 2;
}
document.addEventListener("bench:swapped", strip);
strip();
