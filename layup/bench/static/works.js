// Work that takes long: its words are asked for while it runs, and when it has ended the page shows what it gave.
import { refresh } from "./bench.js";

let waiting = null;
function watch() {
  clearTimeout(waiting);
  const running = [...document.querySelectorAll("[data-work]")];
  if (!running.length) return;
  waiting = setTimeout(async () => {
    for (const one of running) {
      const answer = await fetch(one.dataset.ask).catch(() => null);
      if (!answer?.ok) continue;
      const { state, words } = await answer.json();
      if (state === "done" || state === "failed") { await refresh(); break; }
      const line = one.querySelector("[data-words]");
      if (line && line.textContent !== words) line.textContent = words;
    }
    watch();
  }, 400);
}
document.addEventListener("bench:swapped", watch);
watch();
