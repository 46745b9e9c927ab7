// The refit: "Weigh it" chooses the item, a search is looked at again until it ends, and what is typed for a file that is
// not there yet is kept all the same.
import { refresh } from "/look/bench.js";

document.addEventListener("click", event => {
  const button = event.target.closest?.("[data-item]");
  if (!button) return;
  const choice = document.getElementById("refit-item");
  choice.value = button.dataset.item;
  document.getElementById("weigh-item").scrollIntoView({ block: "start" });
  document.getElementById("f-refit-item-weight").focus({ preventScroll: true });
});

let looking = null;
function look() {
  clearTimeout(looking);
  if (document.querySelector("[data-waits]")) looking = setTimeout(() => refresh().catch(() => {}).then(look), 700);
}
document.addEventListener("bench:swapped", look);
look();

if (!document.body.dataset.file) {
  const waiting = new Map();
  let keeping = null;
  const keep = file => {
    for (const [field, text] of waiting) {
      const body = new URLSearchParams({ field, text, keep: "1" });
      fetch(`/part/typed?file=${encodeURIComponent(file)}`, { method: "POST", body, keepalive: true }).catch(() => {});
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
