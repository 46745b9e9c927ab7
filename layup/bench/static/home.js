// The shelf fills in after it stands there: card by card, those in sight first.

import { root } from "./bench.js";

const shelf = document.getElementById("shelf");
const waiting = shelf ? [...shelf.querySelectorAll("[data-card]:not([data-filled])")] : [];

async function fill(card) {
  const answer = await fetch(`${root}card?file=${encodeURIComponent(card.dataset.card)}`).catch(() => null);
  if (!answer?.ok) return;
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  const now = page.querySelector("[data-card]"), total = page.getElementById("total").textContent;
  const held = document.activeElement === card;
  card.replaceWith(now);
  if (held) now.focus({ preventScroll: true });
  if (total) document.getElementById("total").textContent = total;
}
const tops = new Map(waiting.map(card => [card, card.getBoundingClientRect().top > innerHeight ? 1 : 0]));
waiting.sort((a, b) => tops.get(a) - tops.get(b));
// The empty shelf is painted first; a window that is not looked at paints nothing, and fills all the same.
await new Promise(done => { requestAnimationFrame(() => setTimeout(done)); setTimeout(done, 400); });
for (const card of waiting) await fill(card);
document.documentElement.dataset.shelf = "full";
