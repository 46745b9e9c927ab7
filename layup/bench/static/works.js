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
      const { state, words, picture } = await answer.json(), still = one.querySelector("img[data-still]");
      if (picture && still && still.hidden) { still.src = still.dataset.still; still.hidden = false; }
      if (state === "done" || state === "failed") { if ("reload" in one.dataset) location.reload(); else await refresh(); break; }
      const line = one.querySelector("[data-words]");
      if (line && line.textContent !== words) line.textContent = words;
    }
    watch();
  }, 400);
}
document.addEventListener("bench:swapped", watch);
watch();
