// The Choose page: the search is asked how far it is and the answer shown when it is there; a layup is shown without a new page.
// Without this script the page has a button to look again, and every layup is a link.

import { region, refresh, root, tell } from "./bench.js";

const file = document.body.dataset.file;
let asking = null;

async function ask() {
  asking = null;
  const here = document.getElementById("search-state");
  if (!document.getElementById("progress")) return;
  const answer = await fetch(`${root}choose/progress?file=${encodeURIComponent(file)}`).catch(() => null);
  if (!answer?.ok) { tell("The bench page does not answer. Look at the terminal where it was started.", true); later(3000); return; }
  const far = await answer.json();
  if (["done", "failed", ""].includes(far.state) || far.name !== here.dataset.work) {
    await refresh();
    if (far.state === "done") { tell(document.getElementById("none") ? "The search has ended: nothing passes." : "The search has ended."); }
    later(400);
    return;
  }
  const words = document.getElementById("progress-words"), clock = document.getElementById("progress-time");
  if (words && words.textContent !== far.words) words.textContent = far.words;
  if (clock) clock.textContent = `${Math.round(far.seconds)} s`;
  region("search").dataset.mark = "";
  later(400);
}
function later(wait) { if (!asking) asking = setTimeout(ask, wait); }

// A field that belongs to one answer of another field shows only with it.
function belonging() {
  for (const part of document.querySelectorAll('[data-with="stiff-times"]')) part.hidden = document.getElementById("pick-stiffness")?.value !== "times";
  for (const part of document.querySelectorAll('[data-with="section"]')) part.hidden = !document.getElementById("pick-section")?.value;
  for (const part of document.querySelectorAll('[data-with="supports-sides"]')) part.hidden = document.getElementById("pick-supports")?.value !== "sides";
}
document.addEventListener("change", event => {
  belonging();
  if (event.target.id === "pick-stiffness" && event.target.value === "times") document.querySelector('input[name="times"]')?.focus();
});

document.addEventListener("click", async event => {
  const link = event.target.closest?.("a[data-point]");
  if (!link || event.ctrlKey || event.metaKey || event.shiftKey || event.button) return;
  event.preventDefault();
  history.pushState(null, "", link.getAttribute("href"));
  await refresh();
  const point = document.getElementById("point");
  point?.scrollIntoView({ block: "start" });   // at once: on a slow tablet a long glide shows an empty page on its way
  point?.focus({ preventScroll: true });
});
addEventListener("popstate", refresh);

document.addEventListener("bench:swapped", () => { belonging(); later(400); });
belonging();
later(400);
