// The picture of the part on its page: the view, the questions of unit and side, and zones made by clicking. What a click
// means is worked out by the server; what comes of it is an ordinary edit of the part file, sent as a form like every other.

import { root } from "./bench.js";
import { View, unpack, floats } from "./stage_view.js";

const $ = id => document.getElementById(id);
const stage = $("stage"), file = stage?.dataset.file, at = name => `${root}shape${name}?file=${encodeURIComponent(file)}`;
const view = stage ? new View($("stage-canvas"), $("stage-labels")) : null;
const form = $("stage-form");
const style = getComputedStyle(document.documentElement);
const colour = name => [1, 3, 5].map(k => parseInt(style.getPropertyValue(name).trim().slice(k, k + 2), 16) / 255);
const mixed = (one, light, share) => one.map(v => v * (1 - share) + light * share);
/** The mould side in the grey of a mould, the bag side in the part's own colour; where nobody said which, front and back. */
const toned = side => side === "mould side" || side === "back" ? mixed(colour("--share-2"), 1, .05) : mixed(colour("--part"), .75, .3);
let shown = "", head = null;

// ---- the shape

async function load() {
  const version = $("stage-words")?.dataset.version;
  if (!version || version === shown) return;
  shown = version;
  $("stage-wait").hidden = false;
  let answer;
  try { answer = await fetch(`${at("")}&of=${version}`); } catch { answer = null; }
  if (version !== shown) return;
  $("stage-wait").hidden = true;
  if (!answer?.ok) { none("The shape can't be fetched. Load the page again; if that doesn't help, look at the terminal."); shown = ""; return; }
  const come = unpack(await answer.arrayBuffer());
  if (version !== shown) return;
  const before = head?.asks;
  head = come.head;
  if (before !== head.asks || !head.parts) leave();
  if (!head.parts) { none(head.why); return; }
  questions();
  if (!view.works) { none("This browser can't draw in space (WebGL 2 is off). All of it stands in words below, and the fields of the panels do what a click does."); return; }
  $("stage-none").hidden = true;
  for (const one of stage.querySelectorAll(".stage-view, .stage-how")) one.hidden = false;
  $("stage-picture").hidden = $("stage-bar").hidden = false;
  view.load(head, come.arrays, {
    front: toned(head.sides[0] || "front"), back: toned(head.sides[1] || "back"), other: mixed(colour("--other"), 1, .35), old: colour("--old"), zones: [0, 1, 2, 3, 4].map(k => colour(`--zone-${k}`)),
    edge: colour("--ink"), "cut-out": colour("--zone-0"), seam: colour("--old"),
  });
  if (tool) clickedOn();
  const notes = [], step = head.unit === "in" ? `${+(head.grid / .0254).toFixed(1)} in` : `${Math.round(head.grid * 1000)} mm`;
  $("stage-key").replaceChildren(
    ...(head.asks ? [] : head.sides[0] ? head.sides : ["front as drawn", "back as drawn"]).flatMap((name, k) => [element("i", { className: name === "mould side" || (k && !head.sides[0]) ? "tone-mould" : "tone-bag" }), `${name}, `]),
    `${head.asks ? "L" : "l"}ines ${step} apart. `, ...(head.asks || head.sides[0] ? [] : ["Which is the mould side? Press it under Layup."]));
  for (const part of head.parts) if (part.cell) notes.push(`Drawn with ${part.drawn.toLocaleString("en")} of ${part.triangles.toLocaleString("en")} triangles; all of them count.`);
  if (head.parts.length > 1) notes.push("Pale: what of the solid is left out.");
  if (head.missing?.length) notes.push(`Not drawn: zone ${head.missing.join(", zone ")}.`);
  if (head.cut_outs > head.labels.length) notes.push(`Of ${head.cut_outs} cut-outs the first ${head.labels.length} are numbered.`);
  note(notes.join(" "));
  stage.dataset.ready = shown;
}
function none(text) {
  $("stage-picture").hidden = true;
  $("stage-bar").hidden = !head?.asks;
  for (const one of stage.querySelectorAll(".stage-view, .stage-how")) one.hidden = true;
  $("stage-tools").hidden = true;
  $("stage-none").textContent = text; $("stage-none").hidden = false;
  if (head?.parts && !view.works) $("stage-none").append(element("img", { className: "still", src: at("/still"), alt: "The surface, drawn by the program" }));
  stage.dataset.ready = shown;
}
function note(text) { $("stage-note").textContent = text; $("stage-note").hidden = !text; }
function element(tag, values = {}, ...children) {
  const made = Object.assign(document.createElement(tag), values);
  made.append(...children);
  return made;
}

// ---- what the surface waits for

function questions() {
  const ask = $("stage-ask");
  ask.replaceChildren(); ask.hidden = !head.asks;
  $("stage-tools").hidden = Boolean(head.asks);
  busy(head.asks === "unit" || Boolean(tool));
  if (head.asks === "unit") {
    ask.append(element("h2", { textContent: "How large is it?" }),
      element("p", { textContent: "The file does not say its unit. Take the size that is right:" }),
      element("div", { className: "stage-readings" }, ...head.readings.map(one => edit({ unit: one.unit }, one.size, `the file is in ${one.name}`, `stage-unit-${one.unit}`))));
  }
  if (head.asks === "side") {
    ask.append(element("div", { id: "stage-first" }, element("h2", { textContent: "Which side is laid up?" }),
      element("p", { textContent: `A solid has more than one side; all its faces together are ${head.all}. Click the side that lies against the mould, or say which:` }),
      element("div", { className: "row" }, edit({ side: "outer" }, "Outer", "", "stage-side-outer"), edit({ side: "inner" }, "Inner", "", "stage-side-inner"),
        edit({ side: "all" }, "Every face", "", "stage-side-all"))),
      element("div", { id: "stage-taken" }));
    aim(true);
  }
}
/** A button that changes the table of the surface, as a form that bench.js sends. */
function edit(values, words, more = "", id = "") {
  const made = element("form", { method: "post", action: `${root}part/edit?file=${encodeURIComponent(file)}` });
  made.dataset.swap = "";
  for (const [name, value] of Object.entries({ base: "", table: "surface" })) made.append(element("input", { type: "hidden", name, value }));
  for (const [key, value] of Object.entries(values)) made.append(element("input", { type: "hidden", name: `set.${key}`, value }));
  const button = element("button", { className: more ? "main reading" : "main", id }, words);
  if (more) button.append(element("small", { textContent: more }));
  made.append(button);
  return made;
}

async function pickSide(seen) {
  if (!seen.at) { taking(element("p", { textContent: "That is beside the part. Click on it." })); return; }
  taking(element("p", { textContent: "Looking what lies behind that face." }));
  const come = await tryOut("/side", { at: seen.at.join(), toward: seen.toward.join() });
  if (!come) return;
  if (come.head.wrong) { view.tried(null); taking(element("p", { className: "stage-found wrong", textContent: come.head.wrong })); return; }
  view.tried(floats(come.arrays, come.head.triangles));
  const other = element("button", { type: "button", textContent: "No, another" });
  other.addEventListener("click", () => { view.tried(null); taking(); $("stage-canvas").focus(); });
  const yes = edit({ side: come.head.side }, `Take this side, ${come.head.area}`, "", "stage-side-take");
  taking(element("h2", { textContent: "Take this side?" }),
    ...come.head.words.map(text => element("p", { textContent: sentence(text) })), element("div", { className: "row" }, yes, other));
  yes.querySelector("button").focus({ preventScroll: true });
}
function sentence(text) {
  text = text.replaceAll("^2", "²");
  return text[0].toUpperCase() + text.slice(1) + (text.endsWith(".") ? "" : ".");
}

let asking = null;
/** What the server makes of a click; null where another click came meanwhile. */
async function tryOut(path, query) {
  asking?.abort();
  const mine = asking = new AbortController();
  try {
    const answer = await fetch(`${at(path)}&${new URLSearchParams(query)}`, { signal: mine.signal });
    if (!answer.ok) return { head: { wrong: "That can't be worked out now. Load the page again." } };
    return unpack(await answer.arrayBuffer());
  } catch (problem) {
    return problem.name === "AbortError" ? null : { head: { wrong: "The bench page does not answer. Look at the terminal where it was started." } };
  }
}

// ---- zones by clicking

let tool = "", clicks = [], named = false, sent = false;
const STEPS = {
  point: ["Click the point on the part.", "Click another place to move it, or make the zone."],
  edge: ["Click near the edge of the part or of a cut-out.", "Click near another edge, or make the zone."],
  outline: ["Click the corners one after the other, in order round the outline.", "Click the next corner, or make the zone when the outline is whole."],
  band: ["Click one side of the band.", "Click its other side.", "Make the zone, or click again for a new band."],
};

function begin(name) {
  const again = tool === name;
  leave();
  if (again) return;
  tool = name; clicks = []; named = false;
  form.hidden = false;
  form.reset();
  busy(true);
  $("stage-reach").value = name === "edge" ? (head.unit === "in" ? "1.5 in" : "40 mm") : head.unit === "in" ? "2.5 in" : "60 mm";
  $("stage-reach-name").textContent = name === "edge" ? "Width" : "Distance";
  $("stage-edge").replaceChildren();
  for (const one of form.querySelectorAll("[data-of]")) one.hidden = !one.dataset.of.split(" ").includes(name);
  for (const one of stage.querySelectorAll("[data-tool]")) one.setAttribute("aria-pressed", String(one.dataset.tool === name));
  if (name === "outline") $("stage-axis").value = view.straight();
  if (name === "band") $("stage-axis").value = "x";
  aim(true);
  step();
}
function leave() {
  tool = ""; clicks = []; sent = false;
  asking?.abort();
  if (!form) return;
  form.hidden = true;
  for (const one of stage.querySelectorAll("[data-tool]")) one.setAttribute("aria-pressed", "false");
  clear();
  if (view.head) { view.tried(null); view.line([]); }
  taking();
  aim(head?.asks === "side");
}
/** Less of the picture's height, so that what is asked stands under it in sight. */
function busy(on) { stage.classList.toggle("busy", on); }
/** What stands where a side was clicked; nothing for the first question again. */
function taking(...children) {
  $("stage-taken")?.replaceChildren(...children);
  if ($("stage-first")) $("stage-first").hidden = children.length > 1;
  busy(children.length > 1 || Boolean(tool));
}
function aim(on) {
  $("stage-picture").classList.toggle("aiming", on);
  $("stage-aim").hidden = !(on && $("stage-canvas").matches(":focus-visible"));
}
function clear() {
  for (const key of ["within", "between", "inside", "along", "unit"]) form.elements[`set.${key}`].value = "";
  $("stage-make").disabled = true;
  found("");
}
function found(text, wrong = false) {
  $("stage-found").textContent = text;
  $("stage-found").classList.toggle("wrong", wrong && Boolean(text));
}
function step() {
  const steps = STEPS[tool], seenFrom = tool === "outline" ? ` Seen straight along ${$("stage-axis").value}; the outline goes through the whole part.` : "";
  $("stage-step").textContent = steps[Math.min(clicks.length, steps.length - 1)] + seenFrom;
  $("stage-back").disabled = !clicks.length;
}

function clicked(seen) {
  if (head.asks === "side") { pickSide(seen); return; }
  if (!tool) {                                    // a tap without a tool begins a patch there
    if (!seen.at || head.asks) return;
    begin("point");
    form.scrollIntoView({ block: "nearest" });
  }
  const many = tool === "outline" || tool === "band";
  if (!many && !seen.at) { found("That is beside the part. Click on it.", true); return; }
  if (!many || (tool === "band" && clicks.length > 1)) clicks = [];
  clicks.push({ at: seen.at || seen.flat, toward: seen.toward });
  if (tool === "edge") $("stage-edge").replaceChildren();
  if (tool === "band" && clicks.length === 2) $("stage-axis").value = furthest(clicks[0].at, clicks[1].at);
  clickedOn();
}
function clickedOn() {
  view.line(clicks.map(one => one.at), tool === "outline");
  step();
  preview();
}
function furthest(a, b) {
  const apart = a.map((v, k) => Math.abs(v - b[k]));
  return "xyz"[apart.indexOf(Math.max(...apart))];
}

let waiting = null, turn = 0;
function preview(soon = 0) {
  turn++;
  $("stage-make").disabled = true;       // what stands there now has not been tried yet
  clearTimeout(waiting);
  waiting = setTimeout(show, soon);
}
async function show() {
  const mine = turn;
  if (!tool) return;
  clear();
  view.tried(null);
  if (clicks.length < { point: 1, edge: 1, outline: 3, band: 2 }[tool]) return;
  found("Working out how much that is.");
  const query = { tool, at: clicks.map(one => one.at.join()).join(";"), toward: clicks[0].toward.join() };
  if (tool === "point" || tool === "edge") query.reach = $("stage-reach").value;
  if (tool === "edge" && $("stage-edge").value) query.edge = $("stage-edge").value;
  if (tool === "outline" || tool === "band") query.axis = $("stage-axis").value;
  if (named) query.name = $("stage-name").value;
  const come = await tryOut("/zone", query);
  if (!come || !tool || mine !== turn) return;
  if (come.head.wrong) { found(sentence(come.head.wrong), true); return; }
  if (!named) $("stage-name").value = come.head.name;
  if (tool === "edge") edges(come.head);
  for (const [key, value] of Object.entries(come.head.values)) form.elements[`set.${key}`].value = value;
  view.tried(floats(come.arrays, come.head.triangles));
  found(come.head.taken || `${come.head.area}, ${come.head.share} of the surface.`, Boolean(come.head.taken));
  $("stage-make").disabled = Boolean(come.head.taken);
}
function edges(come) {
  const list = [["edge", "All edges"], ["outer edge", "The outer edge"], ...(come.near.startsWith("cut-out") ? [[come.near, `Cut-out ${come.near.slice(8)}`]] : [])];
  $("stage-edge").replaceChildren(...list.map(([value, words]) => element("option", { value, textContent: words })));
  $("stage-edge").value = come.edge;
}

// ---- hands

if (stage) {
  view.onTap = clicked;
  for (const button of stage.querySelectorAll("[data-tool]")) button.addEventListener("click", () => begin(button.dataset.tool));
  $("stage-whole").addEventListener("click", () => view.whole());
  $("stage-above").addEventListener("click", () => view.above());
  $("stage-nearer").addEventListener("click", () => view.nearer(1.3));
  $("stage-further").addEventListener("click", () => view.nearer(1 / 1.3));
  $("stage-shift").addEventListener("click", () => {
    view.shifting = !view.shifting;
    $("stage-shift").setAttribute("aria-pressed", String(view.shifting));
  });
  $("stage-leave").addEventListener("click", leave);
  $("stage-back").addEventListener("click", () => { clicks.pop(); clickedOn(); });
  $("stage-reach").addEventListener("input", () => preview(350));
  $("stage-edge").addEventListener("change", () => preview());
  $("stage-axis").addEventListener("change", () => {
    if (tool === "outline") { view.straight($("stage-axis").value); clicks = []; clickedOn(); } else preview();
  });
  $("stage-name").addEventListener("input", () => { named = Boolean($("stage-name").value.trim()); preview(350); });
  form.addEventListener("submit", event => {
    if ($("stage-make").disabled) { event.preventDefault(); event.stopImmediatePropagation(); } else sent = true;
  });
  for (const kind of ["focus", "blur", "keyup", "pointerup"]) $("stage-canvas").addEventListener(kind, () => aim($("stage-picture").classList.contains("aiming")));
  document.addEventListener("keydown", event => {
    if (event.key !== "Escape") return;
    if (tool) { const button = stage.querySelector(`[data-tool="${tool}"]`); leave(); button.focus(); }
    else if (head?.asks === "side") { view.tried(null); taking(); }
  });
  document.addEventListener("bench:swapped", () => { if (sent) leave(); load(); });
  // plies and zones light up in the picture under the pointer, and while their row has the focus
  for (const kind of ["pointerover", "focusin"]) document.addEventListener(kind, event => {
    const row = event.target.closest?.("[data-lights]");
    if (view.head) view.light(row ? row.dataset.lights : null);
  });
  load();
}
