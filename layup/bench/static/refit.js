// The refit: an item is weighed in its own row, a search is looked at again until it ends, and what is typed for a file that is
// not there yet is kept all the same.
import { refresh, root, tell } from "./bench.js";

// "Weigh it" opens the item's own row: its first field waits for the figure.
document.addEventListener("toggle", event => {
  if (event.target.matches?.(".weigh-row details[open]") && document.activeElement === event.target.querySelector("summary")) event.target.querySelector("input:not([type=hidden])").focus();
}, true);

let looking = null, waited = false;
function look() {
  clearTimeout(looking);
  const waits = document.querySelector("[data-waits]");
  if (waits) looking = setTimeout(() => refresh().catch(() => {}).then(look), 700);
  if (waited && !waits && document.getElementById("choice")) tell("The search has ended.");
  waited = !!waits;
}
document.addEventListener("bench:swapped", look);
look();

if (!document.body.dataset.file) {
  const waiting = new Map();
  let keeping = null;
  const keep = file => {
    for (const [field, text] of waiting) {
      const body = new URLSearchParams({ field, text, keep: "1" });
      fetch(`${root}part/typed?file=${encodeURIComponent(file)}`, { method: "POST", body, keepalive: true }).catch(() => {});
    }
    waiting.clear();
  };
  for (const form of document.querySelectorAll("form[data-keep]")) {
    form.addEventListener("input", event => {
      if (!event.target.id?.startsWith("f-")) return;
      waiting.set(event.target.id, event.target.value);
      clearTimeout(keeping);
      keeping = setTimeout(() => keep(form.dataset.keep), 150);
    });
    addEventListener("pagehide", () => keep(form.dataset.keep));
  }
}
