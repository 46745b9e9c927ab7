// A surface in space, by WebGL 2 alone: turned, brought nearer, shifted, and pointed at. It knows nothing of the page.
//
//   const view = new View(canvas, labels)    the picture, and the element that holds the numbers written over it
//   view.load(head, arrays, colours)         a surface as layup/report/stage_buffer.py packs it
//   view.pick(x, y)                          what is seen at a place of the picture
//   view.tried(floats), view.line(points)    triangles and lines laid over it for a while

// Lit from the eye, so that what bends is seen from wherever one looks; the two sides in two tones; grid lines and stripes lie
// on the surface itself and turn with it.
const SOLID = [`in vec3 at; uniform mat4 place; uniform mat4 turn; uniform vec3 middle; out vec3 seen; out vec3 own;
  void main() { seen = (turn * vec4(at, 1.)).xyz; own = at + middle; gl_Position = place * vec4(at, 1.); }`,
`in vec3 seen; in vec3 own; uniform vec3 colour; uniform vec3 behind; uniform vec4 hatch; uniform vec2 stripe; uniform vec4 grid; out vec4 shown;
  void main() {
    if (stripe.x > 0. && mod(dot(own, hatch.xyz), stripe.x) > stripe.y) discard;
    vec3 n = normalize(cross(dFdx(seen), dFdy(seen)));
    if (n.z < 0.) n = -n;
    float lamp = max(dot(n, normalize(vec3(-.42, .55, .72))), 0.), shine = pow(max(dot(n, normalize(vec3(-.2, .33, .92))), 0.), 40.);
    vec3 base = gl_FrontFacing ? colour : behind;
    vec3 tone = base * (.36 + .52 * lamp + .30 * n.z * n.z) + .10 * shine;
    vec3 flat_ = abs(normalize(cross(dFdx(own), dFdy(own)))), q = own / grid.w, d = fwidth(q);
    float line = 0.;
    for (int k = 0; k < 3; k++) {
      if (grid[k] <= 0.) continue;
      float far = abs(fract(q[k] - .5) - .5) / max(d[k], 1e-6);
      line = max(line, (1. - smoothstep(.5, 1.4, far)) * (1. - smoothstep(.8, .93, flat_[k])) * (1. - smoothstep(.25, .5, d[k])));
    }
    shown = vec4(tone * (1. - .24 * line), 1.);
  }`];
const LINE = [`in vec3 one; in vec3 two; uniform mat4 place; uniform vec2 size; uniform float width; uniform float lift;
  void main() {
    vec4 a = place * vec4(one, 1.), b = place * vec4(two, 1.);
    vec2 way = (b.xy - a.xy) * size, side = length(way) > 0. ? normalize(vec2(-way.y, way.x)) : vec2(0.);
    vec4 at = gl_VertexID < 2 ? a : b;
    at.xy += side * (gl_VertexID % 2 == 0 ? 1. : -1.) * width / size;
    at.z -= lift;
    gl_Position = at;
  }`, `uniform vec3 colour; out vec4 shown; void main() { shown = vec4(colour, 1.); }`];
// Stripes of the zones: their way along the two long axes of the part and the third, how far apart, and the share that is coloured.
const HATCH = [[.7, .7, 1, .7], [.7, -.7, 1, .7], [0, 1, .9, .68], [1, 0, .9, .68], [.5, .87, .65, .62], [.87, -.5, 1.25, .66]];
const EYES = { "+x": [90, 0], "-x": [-90, 0], "+y": [180, 0], "-y": [0, 0], "+z": [0, 90], "-z": [0, -90] };

export class View {
  constructor(canvas, labels) {
    this.canvas = canvas; this.labels = labels; this.head = null; this.marks = []; this.onTap = null; this.shifting = false;
    this.down = new Map();  // fingers and buttons on the picture
    this.q = [1, 0, 0, 0]; this.zoom = 1; this.shift = [0, 0];
    this.gl = canvas.getContext("webgl2", { antialias: true, preserveDrawingBuffer: true });
    if (!this.gl) return;
    this.begin();
    this.listen();
    new ResizeObserver(() => { if (this.fitted && this.head) this.turn(...this.fitted); else this.ask(); }).observe(canvas);
    canvas.addEventListener("webglcontextlost", event => event.preventDefault());
    canvas.addEventListener("webglcontextrestored", () => { this.begin(); if (this.head) this.load(this.head, this.arrays, this.colours, true); });
  }

  get works() { return Boolean(this.gl); }

  begin() {
    const gl = this.gl;
    this.solid = this.program(...SOLID); this.thin = this.program(...LINE);
    this.parts = []; this.zones = []; this.lines = []; this.over = null; this.path = null;
    gl.enable(gl.DEPTH_TEST); gl.depthFunc(gl.LEQUAL); gl.clearColor(0, 0, 0, 0);
  }

  program(vertex, fragment) {
    const gl = this.gl, made = gl.createProgram();
    for (const [kind, text] of [[gl.VERTEX_SHADER, vertex], [gl.FRAGMENT_SHADER, fragment]]) {
      const shader = gl.createShader(kind);
      gl.shaderSource(shader, "#version 300 es\nprecision highp float;\n" + text);
      gl.compileShader(shader);
      if (!gl.getShaderParameter(shader, gl.COMPILE_STATUS)) throw new Error(gl.getShaderInfoLog(shader));
      gl.attachShader(made, shader);
    }
    gl.linkProgram(made);
    const at = {};
    for (const name of ["place", "turn", "middle", "colour", "behind", "hatch", "stripe", "grid", "size", "width", "lift"]) at[name] = gl.getUniformLocation(made, name);
    return { made, at };
  }

  // ---- what is shown

  load(head, arrays, colours, keep = false) {
    const same = keep || (this.head && this.head.radius === head.radius && this.head.asks === head.asks);
    this.drop();
    Object.assign(this, { head, arrays, colours, paced: false });
    this.parts = head.parts.map(part => {
      const points = floats(arrays, part.points), faces = numbers(arrays, part.faces);
      const coarse = part.coarse && this.mesh(floats(arrays, part.coarse.points), numbers(arrays, part.coarse.faces));
      return { ...this.mesh(points, faces), key: part.key, points, faces, coarse, eye: null };
    });
    const few = head.parts[0].coarse && floats(arrays, head.parts[0].coarse.points);
    this.zones = head.zones.map(zone => ({ ...this.mesh(floats(arrays, zone.triangles)), number: zone.number, name: zone.name,
      coarse: few && zone.coarse && this.mesh(few, numbers(arrays, zone.coarse)) }));
    this.lines = head.lines.map(line => ({ ...this.segments(floats(arrays, line.ends)), key: line.key }));
    this.write([
      ...head.labels.map(([text, at]) => ({ text, at, kind: "cut-out" })),
      ...head.zones.map(zone => ({ text: `${zone.letter} ${zone.name}`, at: zone.at, kind: `zone zone-${zone.number % 5}`, led: true })),
      ...(head.arrow ? [{ text: "0°", at: head.arrow[1], kind: "way" }] : []),
    ]);
    this.arrow = head.arrow ? this.segments(new Float32Array([[0, 1], [1, 2], [1, 3]].flatMap(([a, b]) => [...head.arrow[a], ...head.arrow[b]]))) : null;
    const long = [0, 1, 2].sort((a, b) => head.half[b] - head.half[a]);   // grid lines run along the two long axes
    this.axes = long;
    this.grid = [0, 0, 0, head.grid];
    for (const k of long.slice(0, 2)) this.grid[k] = 1;
    this.lit = null;
    if (!same) this.whole(); else this.ask();
  }

  drop() {
    const gl = this.gl;
    for (const one of [...this.parts, ...this.zones, ...this.lines, this.over, this.path, this.arrow]) if (one) this.free(one);
    this.parts = []; this.zones = []; this.lines = []; this.over = null; this.path = null; this.arrow = null;
    gl.bindVertexArray(null);
  }
  free(one) { if (one.coarse) this.free(one.coarse); for (const buffer of one.buffers) this.gl.deleteBuffer(buffer); this.gl.deleteVertexArray(one.array); }

  mesh(points, faces = null) {
    const gl = this.gl, array = gl.createVertexArray(), buffers = [];
    gl.bindVertexArray(array);
    buffers.push(this.fill(gl.ARRAY_BUFFER, points));
    this.attribute(this.solid, "at", 12, 0, 0);
    if (faces) buffers.push(this.fill(gl.ELEMENT_ARRAY_BUFFER, faces));
    gl.bindVertexArray(null);
    return { array, buffers, count: faces ? faces.length : points.length / 3, loose: !faces };
  }
  segments(ends) {
    const gl = this.gl, array = gl.createVertexArray();
    gl.bindVertexArray(array);
    const buffers = [this.fill(gl.ARRAY_BUFFER, ends)];
    this.attribute(this.thin, "one", 24, 0, 1); this.attribute(this.thin, "two", 24, 12, 1);
    gl.bindVertexArray(null);
    return { array, buffers, count: ends.length / 6 };
  }
  fill(kind, values) {
    const gl = this.gl, buffer = gl.createBuffer();
    gl.bindBuffer(kind, buffer); gl.bufferData(kind, values, gl.STATIC_DRAW);
    return buffer;
  }
  attribute(program, name, stride, offset, step) {
    const gl = this.gl, place = gl.getAttribLocation(program.made, name);
    gl.enableVertexAttribArray(place);
    gl.vertexAttribPointer(place, 3, gl.FLOAT, false, stride, offset);
    gl.vertexAttribDivisor(place, step);
  }

  /** Triangles laid over the part: what a zone or a side would be; null takes them away. */
  tried(points) {
    if (this.over) this.free(this.over);
    this.over = points && points.length ? this.mesh(points) : null;
    this.ask();
  }
  /** A line through points, in the part's own coordinates, and a mark on each; closed where asked. */
  line(points, closed = false) {
    if (this.path) this.free(this.path);
    const local = points.map(at => at.map((v, k) => v - this.head.middle[k])), ends = [];
    for (let k = 1; k < local.length; k++) ends.push(...local[k - 1], ...local[k]);
    if (closed && local.length > 2) ends.push(...local[local.length - 1], ...local[0]);
    this.path = ends.length ? this.segments(new Float32Array(ends)) : null;
    this.write(local.map(at => ({ text: "", at, kind: "spot" })), "spot");
    this.ask();
  }
  /** Texts over the picture; those of one kind take the place of the ones before. */
  write(list, kind = "") {
    for (const one of this.marks) if (!kind || one.kind === kind) { one.element.remove(); one.lead?.remove(); }
    this.marks = kind ? this.marks.filter(one => one.kind !== kind) : [];
    for (const { text, at, kind: own, led } of list) {
      const element = document.createElement("span");
      element.className = `stage-mark ${own}`; element.textContent = text;
      this.labels.append(element);
      let lead = null;
      if (led) {
        if (!this.leads) {
          const held = document.createElement("template");
          held.innerHTML = "<svg></svg>";
          this.leads = this.labels.appendChild(held.content.firstChild);
        }
        lead = document.createElementNS(this.leads.namespaceURI, "line");
        this.leads.append(lead);
      }
      this.marks.push({ element, at, kind: own, lead });
    }
  }
  /** Names of zones beside the part, each on a line that leads to its place; those of one side keep clear of each other. */
  lead(marks, w, h, place) {
    const wide = [0, 1, 2].map(k => this.head.half[k]);
    const reach = [0, 1].map(r => [0, 1, 2].reduce((sum, k) => sum + Math.abs(place[4 * k + r]) * wide[k], 0));
    const centre = [(place[12] + 1) * w / 2, (1 - place[13]) * h / 2];
    const sides = [[], []];
    for (const one of marks) sides[one.x < centre[0] ? 0 : 1].push(one);
    sides.forEach((side, right) => {
      side.sort((a, b) => a.y - b.y);
      const edge = centre[0] + (right ? 1 : -1) * (reach[0] * w / 2 + 14);
      let last = -1e9;
      for (const one of side) {
        const size = one.element.offsetWidth || 60, high = 27;
        const x = right ? Math.min(edge, w - size - 6) : Math.max(edge - size, 6);
        const y = Math.min(Math.max(one.y, last + high, 16), h - 16);
        last = y;
        one.element.style.left = `${(x + size / 2) / w * 100}%`; one.element.style.top = `${y / h * 100}%`;
        const ends = { x1: one.x, y1: one.y, x2: right ? x : x + size, y2: y };
        for (const [name, value] of Object.entries(ends)) one.lead.setAttribute(name, value.toFixed(1));
      }
    });
  }

  // ---- the eye

  turn(azimuth, rise) {
    const a = azimuth * Math.PI / 360, e = (rise - 90) * Math.PI / 360;
    this.q = times([Math.cos(e), Math.sin(e), 0, 0], [Math.cos(a), 0, 0, -Math.sin(a)]);
    const m = this.matrix(), half = this.head.half, w = this.canvas.clientWidth || 1, h = this.canvas.clientHeight || 1;
    const [ex, ey] = [0, 1].map(r => [0, 1, 2].reduce((sum, c) => sum + Math.abs(m[4 * c + r]) * half[c], 0));
    this.zoom = Math.min(w / Math.max(ex, 1e-9), h / Math.max(ey, 1e-9)) * this.head.radius / Math.min(w, h);
    this.shift = [0, 0]; this.fitted = [azimuth, rise];
    this.ask();
  }
  whole() { this.turn(...this.head.view); }
  above() { this.turn(0, 90); }
  /** Look straight along the axis named, or along the one that most of what is seen now lies across; gives its letter. */
  straight(axis = "") {
    const toward = this.toward(), [a, b, c] = this.head.half;
    const size = [b * c, c * a, a * b].map((area, k) => (area + 1e-12) * Math.abs(toward[k]));
    const k = axis ? "xyz".indexOf(axis) : size.indexOf(Math.max(...size));
    this.turn(...EYES[(toward[k] < -1e-9 ? "-" : "+") + "xyz"[k]]);
    return "xyz"[k];
  }
  toward() { const m = this.matrix(); return [m[2], m[6], m[10]]; }
  roll(dx, dy) {
    this.fitted = null; this.moving = true;
    const far = Math.hypot(dx, dy), angle = far * .0035;
    if (angle) this.q = times([Math.cos(angle), Math.sin(angle) * dy / far, Math.sin(angle) * dx / far, 0], this.q);
    this.ask();
  }
  slide(dx, dy) { this.fitted = null; this.moving = true; this.shift = [this.shift[0] + dx, this.shift[1] + dy]; this.ask(); }
  nearer(factor) {
    this.fitted = null; this.moving = true;
    const zoom = Math.min(Math.max(this.zoom * factor, .2), 80), by = zoom / this.zoom;
    this.shift = this.shift.map(v => v * by); this.zoom = zoom; this.ask();
  }
  matrix() {
    const n = Math.hypot(...this.q), [w, x, y, z] = this.q.map(v => v / n);
    return [1 - 2 * (y * y + z * z), 2 * (x * y + w * z), 2 * (x * z - w * y), 0, 2 * (x * y - w * z), 1 - 2 * (x * x + z * z),
            2 * (y * z + w * x), 0, 2 * (x * z + w * y), 2 * (y * z - w * x), 1 - 2 * (x * x + y * y), 0, 0, 0, 0, 1];
  }
  scale() {
    const w = this.canvas.clientWidth || 1, h = this.canvas.clientHeight || 1, fit = .86 * this.zoom / this.head.radius * Math.min(w, h);
    return { w, h, sx: fit / w, sy: fit / h };
  }

  // ---- drawing

  ask() { if (!this.asked && this.head) { this.asked = true; requestAnimationFrame(() => this.draw()); } }
  /** How long a picture takes, twice, waited for; on a machine without a graphics card a coarser one is drawn in motion. */
  pace() {
    const one = new Uint8Array(4), gl = this.gl;
    const times = [0, 1].map(() => {
      const start = performance.now();
      this.draw();
      gl.readPixels(0, 0, 1, 1, gl.RGBA, gl.UNSIGNED_BYTE, one);
      return performance.now() - start;
    });
    this.slow = Math.min(...times) > 40;
    this.paced = true;
  }
  draw() {
    const rough = Boolean(this.slow && this.moving);
    this.asked = false; this.rough = rough;
    const gl = this.gl, { w, h, sx, sy } = this.scale(), ratio = Math.min(devicePixelRatio || 1, 2) * (rough ? .5 : 1);
    const wide = Math.round(w * ratio), high = Math.round(h * ratio);
    if (this.canvas.width !== wide || this.canvas.height !== high) { this.canvas.width = wide; this.canvas.height = high; }
    gl.viewport(0, 0, wide, high);
    gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
    const turn = this.matrix(), place = turn.slice(), sz = -.3 / this.head.radius;
    for (let c = 0; c < 3; c++) { place[4 * c] *= sx; place[4 * c + 1] *= sy; place[4 * c + 2] *= sz; }
    place[12] = this.shift[0] * 2 / w; place[13] = -this.shift[1] * 2 / h;
    gl.useProgram(this.solid.made);
    gl.uniformMatrix4fv(this.solid.at.place, false, place);
    gl.uniformMatrix4fv(this.solid.at.turn, false, turn);
    gl.enable(gl.POLYGON_OFFSET_FILL);
    gl.polygonOffset(2, 4);
    gl.uniform3fv(this.solid.at.middle, this.head.middle);
    gl.uniform4fv(this.solid.at.grid, this.grid);
    const of = one => rough && one.coarse || one, { front, back, other } = this.colours, lit = this.lit;
    for (const part of this.parts) {
      if (part.key === "counts") this.paint(of(part), lit === "whole" ? brighter(front) : front, back); else this.paint(of(part), other, other);
    }
    this.zones.forEach((zone, k) => {
      gl.polygonOffset(1.5 - .1 * k, 2 - k);
      const own = this.colours.zones[zone.number % 5], shown = zone.name === lit ? brighter(own) : own;
      this.paint(of(zone), shown, shown, zone.name === lit ? null : HATCH[zone.number % HATCH.length]);
    });
    gl.polygonOffset(-1, -8);
    if (this.over) this.paint(this.over, this.colours.old, this.colours.old, [.7, .7, .8, .75]);
    gl.disable(gl.POLYGON_OFFSET_FILL);
    gl.useProgram(this.thin.made);
    gl.uniformMatrix4fv(this.thin.at.place, false, place);
    gl.uniform2f(this.thin.at.size, wide, high);
    gl.uniform1f(this.thin.at.lift, .0012);
    for (const line of this.lines) this.stroke(line, this.colours[line.key], (line.key === "seam" ? 3 : 2) * ratio);
    if (this.path) this.stroke(this.path, this.colours.old, 3 * ratio);
    gl.uniform1f(this.thin.at.lift, .02);
    if (this.arrow) this.stroke(this.arrow, this.colours.edge, 3.5 * ratio);
    gl.bindVertexArray(null);
    const led = [];
    this.leads?.setAttribute("viewBox", `0 0 ${w} ${h}`);
    for (const mark of this.marks) {
      const { element, at, lead } = mark;
      const [x, y] = [0, 1].map(r => place[r] * at[0] + place[4 + r] * at[1] + place[8 + r] * at[2] + place[12 + r]);
      if (lead) { led.push({ ...mark, x: (x + 1) * w / 2, y: (1 - y) * h / 2 }); continue; }
      element.style.left = (x + 1) * 50 + "%"; element.style.top = (1 - y) * 50 + "%";  // so that they print where they stand
    }
    if (led.length) this.lead(led, w, h, place);
    clearTimeout(this.settling);
    this.settling = setTimeout(() => this.settle(), 160);
    this.canvas.dataset.drawn = String(+(this.canvas.dataset.drawn || 0) + 1);
  }
  /** Triangles in a colour for each side; with stripes, a share of them is left open. */
  paint(one, colour, behind, hatch = null) {
    const gl = this.gl, [u, v, w] = this.axes, way = [0, 0, 0];
    if (hatch) { way[u] = hatch[0]; way[v] = hatch[1]; way[w] = .7; }
    const pitch = hatch ? hatch[2] * this.head.radius * .045 : 0;
    gl.uniform3fv(this.solid.at.colour, colour); gl.uniform3fv(this.solid.at.behind, behind);
    gl.uniform4f(this.solid.at.hatch, ...way, 0); gl.uniform2f(this.solid.at.stripe, pitch, hatch ? pitch * hatch[3] : 0);
    gl.bindVertexArray(one.array);
    if (one.loose) gl.drawArrays(gl.TRIANGLES, 0, one.count); else gl.drawElements(gl.TRIANGLES, one.count, gl.UNSIGNED_INT, 0);
  }
  stroke(one, colour, width) {
    const gl = this.gl;
    gl.uniform3fv(this.thin.at.colour, colour); gl.uniform1f(this.thin.at.width, width);
    gl.bindVertexArray(one.array); gl.drawArraysInstanced(gl.TRIANGLE_STRIP, 0, 4, one.count);
  }
  /** When the part stands still: numbers on its far side go pale. */
  settle() {
    if (this.rough && this.down.size) { this.settling = setTimeout(() => this.settle(), 160); return; }
    this.moving = false;
    if (this.rough) { this.ask(); return; }
    if (!this.paced && this.parts.some(part => part.coarse)) this.pace();
    const m = this.matrix();
    for (const { element, at, kind } of this.marks) {
      if (kind === "spot") continue;
      const [x, y, z] = [0, 1, 2].map(r => m[r] * at[0] + m[4 + r] * at[1] + m[8 + r] * at[2]);
      const over = this.nearest(x, y);
      element.classList.toggle("behind", over !== null && over > z + .05 * this.head.radius);
    }
  }

  // ---- pointing

  /** What is seen at a place of the canvas: `at` on the part (null beside it), `flat` level with its middle, in its coordinates. */
  pick(x, y) {
    const { w, h, sx, sy } = this.scale(), m = this.matrix();
    const ex = ((2 * x - 2 * this.shift[0]) / w - 1) / sx, ey = (1 - (2 * y - 2 * this.shift[1]) / h) / sy;
    const back = z => [0, 1, 2].map(k => m[4 * k] * ex + m[4 * k + 1] * ey + m[4 * k + 2] * z + this.head.middle[k]);
    const z = this.nearest(ex, ey);
    return { at: z === null ? null : back(z), flat: back(0), toward: this.toward() };
  }
  /** How near to the eye the part comes on a line of sight; null where it misses. */
  nearest(x, y) {
    const m = this.matrix();
    let best = -Infinity;
    for (const part of this.parts) {
      const e = this.seenBy(part, m), f = part.faces;
      for (let k = 0; k < f.length; k += 3) {
        const a = 3 * f[k], b = 3 * f[k + 1], c = 3 * f[k + 2];
        const ax = e[a] - x, bx = e[b] - x, cx = e[c] - x;
        if ((ax > 0 && bx > 0 && cx > 0) || (ax < 0 && bx < 0 && cx < 0)) continue;
        const ay = e[a + 1] - y, by = e[b + 1] - y, cy = e[c + 1] - y;
        const u = bx * cy - by * cx, v = cx * ay - cy * ax, t = ax * by - ay * bx, sum = u + v + t;
        if (sum === 0 || u * sum < 0 || v * sum < 0 || t * sum < 0) continue;
        const z = (u * e[a + 2] + v * e[b + 2] + t * e[c + 2]) / sum;
        if (z > best) best = z;
      }
    }
    return best === -Infinity ? null : best;
  }
  seenBy(part, m) {
    const key = m.join();
    if (part.eye && part.turned === key) return part.eye;
    const p = part.points, e = part.eye || new Float32Array(p.length);
    for (let k = 0; k < p.length; k += 3) {
      const x = p[k], y = p[k + 1], z = p[k + 2];
      e[k] = m[0] * x + m[4] * y + m[8] * z; e[k + 1] = m[1] * x + m[5] * y + m[9] * z; e[k + 2] = m[2] * x + m[6] * y + m[10] * z;
    }
    part.eye = e; part.turned = key;
    return e;
  }

  // ---- hands

  listen() {
    const canvas = this.canvas, down = this.down;
    let gap = 0, moved = 0;
    const apart = () => { const [a, b] = [...down.values()]; return b ? Math.hypot(a[0] - b[0], a[1] - b[1]) : 0; };
    canvas.addEventListener("contextmenu", event => event.preventDefault());
    canvas.addEventListener("pointerdown", event => {
      canvas.setPointerCapture(event.pointerId);
      if (!down.size) moved = 0;
      down.set(event.pointerId, [event.clientX, event.clientY]); gap = apart();
      if (down.size > 1) moved = Infinity;
    });
    for (const end of ["pointerup", "pointercancel"]) canvas.addEventListener(end, event => {
      const still = moved < (event.pointerType === "mouse" ? 5 : 14);
      if (down.delete(event.pointerId) && !down.size && end === "pointerup" && still && event.button === 0) {
        const box = canvas.getBoundingClientRect();
        this.tap(event.clientX - box.left, event.clientY - box.top);
      }
      gap = apart();
    });
    canvas.addEventListener("pointermove", event => {
      const from = down.get(event.pointerId);
      if (!from) return;
      const dx = event.clientX - from[0], dy = event.clientY - from[1];
      down.set(event.pointerId, [event.clientX, event.clientY]);
      moved += Math.hypot(dx, dy);
      if (!this.head) return;
      if (down.size > 1) {
        const now = apart();
        if (gap > 0) this.nearer(now / gap);
        gap = now; this.slide(dx / 2, dy / 2);
      } else if (moved > 3) {
        if (event.buttons & 2 || event.shiftKey || this.shifting) this.slide(dx, dy); else this.roll(dx, dy);
      }
    });
    canvas.addEventListener("wheel", event => {          // over a picture that was not chosen the page scrolls
      if (!this.head || (document.activeElement !== canvas && !event.ctrlKey)) return;
      event.preventDefault();
      this.nearer(Math.exp(-event.deltaY * (event.deltaMode ? .05 : .0012)));
    }, { passive: false });
    canvas.addEventListener("keydown", event => {
      if (!this.head || event.ctrlKey || event.altKey || event.metaKey) return;
      const way = { ArrowLeft: [-30, 0], ArrowRight: [30, 0], ArrowUp: [0, -30], ArrowDown: [0, 30] }[event.key];
      if (way) { if (event.shiftKey || this.shifting) this.slide(...way); else this.roll(...way); }
      else if (event.key === "+" || event.key === "=") this.nearer(1.2);
      else if (event.key === "-") this.nearer(1 / 1.2);
      else if (event.key === "Home") this.whole();
      else if (event.key === "Enter" || event.key === " ") this.tap(canvas.clientWidth / 2, canvas.clientHeight / 2);
      else return;
      event.preventDefault();
    });
  }
  /** Light up a zone by its name, "whole" for all of it, null for none. */
  light(name) { if (this.lit !== name) { this.lit = name; this.ask(); } }
  tap(x, y) { if (this.head && this.onTap) this.onTap(this.pick(x, y)); }
}

function brighter(colour) { return colour.map(v => Math.min(1, .35 + .8 * v)); }
function times(p, r) {
  const [a, b, c, d] = p, [e, f, g, h] = r;
  return [a * e - b * f - c * g - d * h, a * f + b * e + c * h - d * g, a * g - b * h + c * e + d * f, a * h + b * g - c * f + d * e];
}
function floats(arrays, [start, count]) { return new Float32Array(arrays, start, count); }
function numbers(arrays, [start, count]) { return new Uint32Array(arrays, start, count); }

/** A buffer of the page as its head and its arrays. */
export function unpack(buffer) {
  const length = new DataView(buffer).getUint32(0, true);
  const head = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 4, length)));
  return { head, arrays: buffer.slice(4 + length) };
}
export { floats };
