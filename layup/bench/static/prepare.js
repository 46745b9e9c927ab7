// A field that was changed and not used yet: what was worked out without it is marked, so that nobody mixes or cuts by it.

const USES = { shapes: ["paper"], cloth: ["gap", "edge", "seconds", "rolls", "face_down"],
  pots: ["people", "temperature", "ratio", "pot"], papers: ["people", "temperature", "ratio", "pot", "paper"] };

function mark() {
  const changed = new Set();
  for (const field of document.querySelectorAll("[data-holds]")) {
    const now = field.type === "checkbox" ? (field.checked ? "on" : "") : field.value.trim();
    if (now !== field.dataset.holds) changed.add(field.name);
  }
  for (const [card, keys] of Object.entries(USES)) {
    const panel = document.getElementById(card), used = panel?.querySelector(".used");
    const old = Boolean(used) && keys.some(key => changed.has(key));
    panel?.classList.toggle("outdated", old);
    if (used) used.dataset.old = old ? "Out of date: a field was changed since. Press the button again. " : "";
  }
}
for (const kind of ["input", "change", "bench:swapped"]) document.addEventListener(kind, mark);
mark();
