"use strict";
(() => {
  const D = JSON.parse(document.getElementById("data").textContent);
  const $ = (id) => document.getElementById(id);
  const { grid, reflection, radio, swr, readings, shapesOf, shape, glow, number, between } = tautwireCore(D);
  const state = { setting: {}, picked: D.choices.map((c) => c.start), feet: D.feet, held: null, solved: null, band: 0, lit: null };
  for (const s of D.sliders) state.setting[s.path] = s.start;

  const talking = () => document.body.classList.contains("talk");
  const large = () => (talking() ? Math.max(1.5, Math.min(window.innerWidth / 1024, window.innerHeight / 768) * 1.6) : 1);

  // (distance, height) of each conductor: the wire unfolded along its route, the rest seen in its first leg's plane
  function side(conductors) {
    const wire = conductors[0][2], [dx, dy] = [wire[wire.length - 1][0] - wire[0][0], wire[wire.length - 1][1] - wire[0][1]];
    const across = Math.hypot(dx, dy) || 1, east = across > 1e-6 ? dx / across : 0, north = across > 1e-6 ? dy / across : 1;
    return conductors.map(([name, role, points]) => {
      if (role !== "wire") return [name, role, points.map((p) => [p[0] * east + p[1] * north, p[2]])];
      let along = 0;
      return [name, role, points.map((p, i) => {
        if (i) along += Math.hypot(p[0] - points[i - 1][0], p[1] - points[i - 1][1]);
        return [along, p[2]];
      })];
    });
  }

  const pathLength = (p) => p.slice(1).reduce((sum, q, i) => sum + Math.hypot(...q.map((x, k) => x - p[i][k])), 0);

  // ---- current and pattern: drawn at the middle of one band --------------------------------------------------------

  const every = (of) => (D.lit ? D.wires.flatMap((w) => w.nodes.flatMap((n) => n.glow.map(of))) : [1]);
  const MOST_AMPS = Math.max(...every((g) => Math.max(...g.amps.flatMap(([re, im]) => re.map((x, p) => Math.hypot(x, im[p]))))));
  const OUTER = 5 * Math.ceil(Math.max(...every((g) => Math.max(...g.dbi))) / 5), SPAN = 30;

  function spread(points, count) { // so many places evenly along a bent line
    const steps = points.slice(1).map((q, i) => Math.hypot(q[0] - points[i][0], q[1] - points[i][1]));
    const total = steps.reduce((a, b) => a + b, 0) || 1, out = [];
    for (let p = 0; p < count; p++) {
      let left = total * p / (count - 1), i = 0;
      while (i < steps.length - 1 && left > steps[i]) left -= steps[i++];
      const t = steps[i] ? Math.min(left / steps[i], 1) : 0;
      out.push([0, 1].map((x) => points[i][x] + t * (points[i + 1][x] - points[i][x])));
    }
    return out;
  }

  function drawPattern(svg, lit, middle, reach, held) {
    const radius = (dbi) => reach * Math.max(dbi - OUTER + SPAN, 0) / SPAN, step = Math.PI * (lit.dbi.length > 37 ? 2 : 1) / (lit.dbi.length - 1);
    const place = (r, p) => [middle[0] + r * Math.cos(p * step), middle[1] - r * Math.sin(p * step)];
    const lobe = lit.dbi.map((d, p) => place(radius(d), p));
    add(svg, "path", { d: line(lobe) + "Z", class: held ? "lobe held" : "lobe" });
    if (held) return () => {};
    for (const dbi of [0, -10]) {
      add(svg, "path", { d: line(lit.dbi.map((_, p) => place(radius(dbi), p))), class: "ring" });
    }
    return () => [0, -10].forEach((dbi) => {
      const [x, y] = place(radius(dbi), Math.round((dbi ? .78 : .68) * 36));
      add(svg, "text", { x: x - 3, y: y - 2, "text-anchor": "end", class: "soft over" }, `${dbi} dBi`.replace("-", "−"));
    });
  }

  function drawRibbon(svg, points, [re, im], wide) {
    const paths = { ahead: "", back: "" };
    const edge = points.map((p, i) => {
      const a = points[Math.max(i - 1, 0)], b = points[Math.min(i + 1, points.length - 1)];
      const size = Math.hypot(b[0] - a[0], b[1] - a[1]) || 1, w = Math.hypot(re[i], im[i]) / MOST_AMPS * wide / size;
      return [[p[0] - (b[1] - a[1]) * w, p[1] + (b[0] - a[0]) * w], [p[0] + (b[1] - a[1]) * w, p[1] - (b[0] - a[0]) * w]];
    });
    for (let i = 0; i < points.length - 1; i++) {
      const quad = line([edge[i][0], edge[i + 1][0], edge[i + 1][1], edge[i][1]]) + "Z";
      paths[re[i] + re[i + 1] >= 0 ? "ahead" : "back"] += quad;
    }
    for (const [way, d] of Object.entries(paths)) if (d) add(svg, "path", { d, class: way });
  }

  function toldOf(lit, k) { // the strongest elevation, and 15 degrees on the better side
    const count = lit.dbi.length, degrees = (p) => { const a = 180 * p / 36; return a > 90 ? 180 - a : a; };
    const best = lit.dbi.reduce((m, d, p) => (p < 37 && d > lit.dbi[m] ? p : m), 0);
    const low = Math.max(lit.dbi[3], lit.dbi[Math.min(33, count - 1)]);
    const db = (x) => `${x.toFixed(1)} dBi`.replace("-", "−");
    return `${D.bands[k].name} at ${lit.f_mhz.toFixed(2)} MHz: the wire's gain is ${db(lit.dbi[best])} at ${degrees(best).toFixed(0)}°, ${db(low)} at 15°, before mismatch, transformer and coax`;
  }

  // ---- drawing ----------------------------------------------------------------------------------------------------

  const NS = "http://www.w3.org/2000/svg";
  function add(parent, tag, attributes, text) {
    const e = document.createElementNS(NS, tag);
    for (const [k, v] of Object.entries(attributes)) e.setAttribute(k, v);
    if (text !== undefined) e.textContent = text;
    parent.append(e);
    return e;
  }
  const line = (points) => points.map(([x, y], i) => `${i ? "L" : "M"}${x.toFixed(2)} ${y.toFixed(2)}`).join("");

  function metres(m) {
    if (!state.feet) return m >= 1 ? `${m.toFixed(2)} m` : `${(m * 100).toFixed(0)} cm`;
    const inches = Math.round(m / 0.0254);
    return `${Math.floor(inches / 12)} ft ${inches % 12} in`;
  }

  const ROLES = { wire: ["pine", ""], counterpoise: ["plum", "3 2"], coax: ["ember", "7 3"], nearby: ["stone", "9 2 2 2"] };
  let extent = null, extentKey = "";

  function roomFor(flat) { // a scale that stays while the sliders stay in their box
    const key = `${D.pick[number(state.picked)][0]}`;
    if (key !== extentKey) {
      extent = null; extentKey = key;
      for (const s of shapesOf(state.picked)) grow(side(s));
    }
    grow(flat);
  }
  function grow(flat) {
    for (const [, , points] of flat) for (const [x, z] of points) {
      extent = extent ?? [x, x, z];
      extent = [Math.min(extent[0], x), Math.max(extent[1], x), Math.max(extent[2], z)];
    }
  }

  function drawSide(conductors) {
    const svg = $("side"), W = (svg.clientWidth || 360) / large(), H = (svg.clientHeight || 140) / large();
    svg.setAttribute("viewBox", `0 0 ${W} ${H}`);
    svg.replaceChildren();
    const flat = side(conductors);
    roomFor(flat);
    const [left, right, top, below] = [86, 84, state.lit ? 20 + .09 * H : 20, 18];
    const scale = Math.min((W - left - right) / Math.max(extent[1] - extent[0], 1e-3), (H - top - below) / Math.max(extent[2], 1e-3));
    const shift = (W - left - right - scale * (extent[1] - extent[0])) / 2;
    const X = (x) => left + shift + (x - extent[0]) * scale, Y = (z) => H - below - z * scale;
    add(svg, "rect", { x: 0, y: Y(0), width: W, height: H - Y(0), fill: "var(--soil)" });
    add(svg, "path", { d: `M0 ${Y(0)}H${W}`, class: "grid", style: "stroke:var(--quiet)" });
    const route = flat[0][2].map(([x]) => X(x)), held = state.held;
    const middle = [(Math.min(...route) + Math.max(...route)) / 2, Y(0)], reach = H - below - 20;
    const nameRings = state.lit ? drawPattern(svg, state.lit, middle, reach, false) : () => {};
    if (held?.lit && state.lit) drawPattern(svg, held.lit, middle, reach, true);
    if (held) for (const [, , points] of side(held.shape)) {
      add(svg, "path", { d: line(points.map(([x, z]) => [X(x), Y(z)])), class: "ghost" });
    }
    if (state.lit) flat.forEach(([, , points], c) => {
      const screen = points.map(([x, z]) => [X(x), Y(z)]), amps = state.lit.amps[c];
      drawRibbon(svg, spread(screen, amps[0].length), amps, .09 * H);
    });
    nameRings();
    const bar = [1, 2, 5, 10, 20].find((m) => m * scale > 36) ?? 50;
    add(svg, "path", { d: `M8 ${H - 5}v-5h${bar * scale}v5`, class: "grid", style: "stroke:var(--quiet)" });
    add(svg, "text", { x: 12 + bar * scale, y: H - 4, class: "soft" }, metres(bar).replace(".00", ""));
    const wire = flat[0][2], last = wire[wire.length - 1];
    const tops = wire.map(([x, z], i) => [x, z, i]).filter(([, z, i]) => i && i < wire.length - 1 && z > wire[0][1] + .01 && z > last[1] + .01);
    const apex = tops.length ? tops.reduce((a, c) => (c[1] > a[1] ? c : a)) : null;
    for (const [x, z] of [last, ...(apex ? [apex] : [])]) add(svg, "path", { d: `M${X(x)} ${Y(z)}V${Y(0)}`, class: "level" });
    for (const [, role, points] of [...flat].reverse()) {
      const [colour, dash] = ROLES[role];
      add(svg, "path", { d: line(points.map(([x, z]) => [X(x), Y(z)])), fill: "none", stroke: `var(--${colour})`,
        "stroke-width": role === "wire" ? 3 : 2.25, "stroke-dasharray": dash, "stroke-linejoin": "round" });
    }
    add(svg, "rect", { x: X(wire[0][0]) - 5, y: Y(wire[0][1]) - 5, width: 10, height: 10, fill: "var(--ink)" });
    add(svg, "text", { x: X(wire[0][0]) - 9, y: Math.min(Y(wire[0][1]) + 3, Y(0) - 4), "text-anchor": "end", class: "over" }, `feed ${metres(wire[0][1])}`);
    const ends = [];
    if (apex) ends.push([apex, "apex"]);
    ends.push([last, "end"]);
    for (const [[x, z], name] of ends) {
      const text = `${name} ${metres(z)}`, tall = z * scale > 30, room = X(x) + 84 < W;
      if (name === "apex") add(svg, "text", { x: X(x), y: Y(z) - 7 - (state.lit ? .09 * H : 0), "text-anchor": "middle", class: "over" }, text);
      else add(svg, "text", { x: X(x) + (room ? 6 : -6), y: tall ? Y(z / 2) + 4 : Y(z) - 7, "text-anchor": room ? "start" : "end", class: "over" }, text);
    }
    const legs = wire.length <= 4 ? wire.slice(1).map((q, i) => [wire[i], q]) : [];
    let told = "";
    legs.forEach(([p, q], i) => {
      const [a, c] = conductors[0][2].slice(i, i + 2), size = pathLength([a, c]);
      const turn = Math.atan2(q[1] - p[1], q[0] - p[0]) * 180 / Math.PI, steep = Math.abs(turn) > 89;
      const [mx, my] = [X((p[0] + q[0]) / 2), Y((p[1] + q[1]) / 2)];
      const label = steep ? metres(size) : `${metres(size)}, ${Math.abs(turn).toFixed(0)}°`;
      if (size * scale > 90) add(svg, "text", { x: 0, y: state.lit ? -8 - .09 * H : -8, "text-anchor": "middle", class: "over", transform: `translate(${mx} ${my}) rotate(${steep ? -90 : -turn})` }, label);
      told += `${i ? "; then " : ""}${metres(size)} at ${turn.toFixed(0)} degrees`;
    });
    const total = pathLength(conductors[0][2]);
    svg.setAttribute("aria-label", `The wire from the side, to scale: ${told || metres(total)}; feed at ${metres(wire[0][1])}, ` +
      (apex ? `apex at ${metres(apex[1])}, ` : "") + `far end at ${metres(last[1])}.` +
      (state.lit ? ` Gain on ${toldOf(state.lit, state.band)}.` : ""));
    $("legend").replaceChildren(...conductors.map(([name, role, points], i) => {
      const span = document.createElement("span"), b = document.createElement("b");
      b.textContent = name; b.style.color = `var(--${ROLES[role][0]})`;
      span.append(b, ` ${metres(pathLength(points))}`);
      return span;
    }));
    if ($("gain")) $("gain").textContent = state.lit ? `${toldOf(state.lit, state.band)}.` : "";
  }

  const LEVELS = [1, 1.5, 2, 3, 5, 10], TOP = 10;
  const panels = D.bands.map((b) => {
    const box = document.createElement("div"), h = document.createElement("h2"), told = document.createElement("span");
    box.className = "band";
    h.append(b.name, told);
    const svg = document.createElementNS(NS, "svg");
    svg.setAttribute("tabindex", "0"); svg.setAttribute("role", "img");
    box.append(h, svg);
    $("bands").append(box);
    return { told, svg, cursor: null };
  });

  function ticks(low, high) {
    const rough = (high - low) / 3, size = 10 ** Math.floor(Math.log10(rough)), step = size * [1, 2, 5, 10].find((s) => s * size >= rough * .8);
    const out = [];
    for (let k = Math.ceil(low / step); k * step <= high; k++) out.push(+(k * step).toFixed(6));
    return out;
  }

  function drawBand(k) {
    const b = D.bands[k], { svg, told, cursor } = panels[k], r = state.readings[k];
    const W = (svg.clientWidth || 170) / large(), H = (svg.clientHeight || 116) / large(), [left, right, top, below] = [26, 6, 6, 20];
    svg.setAttribute("viewBox", `0 0 ${W} ${H}`);
    svg.replaceChildren();
    const X = (f) => left + (f - b.low) / (b.high - b.low) * (W - left - right);
    const Y = (s) => H - below - Math.log(Math.min(s, TOP)) / Math.log(TOP) * (H - top - below);
    add(svg, "rect", { x: X(b.lower), y: top, width: Math.max(X(b.upper) - X(b.lower), 2), height: H - top - below, class: "inside" });
    for (const s of LEVELS) {
      add(svg, "path", { d: `M${left} ${Y(s)}H${W - right}`, class: s === 2 ? "level" : "grid" });
      add(svg, "text", { x: left - 4, y: Y(s) + 4, "text-anchor": "end", class: "soft" }, s);
    }
    for (const f of ticks(b.low, b.high)) {
      add(svg, "path", { d: `M${X(f)} ${H - below}v4`, class: "grid", style: "stroke:var(--quiet)" });
      if (X(f) < W - 44) add(svg, "text", { x: X(f), y: H - 4, "text-anchor": "middle", class: "soft" }, f);
    }
    add(svg, "text", { x: W - right, y: H - 4, "text-anchor": "end", class: "soft" }, "MHz");
    const curve = (g) => line(Array.from(g, (x, m) => [X(grid[k][m]), Y(swr(x))]));
    if (state.held) add(svg, "path", { d: curve(state.held.curves[k]), class: "held" });
    add(svg, "path", { d: curve(state.curves[k]), class: state.solved ? "curve solved" : "curve" });
    if (r.dip !== null) add(svg, "circle", { cx: X(r.dip), cy: Y(r.swr), r: 4.5, class: "dip" });
    told.textContent = r.dip === null ? "no dip here" : `${r.dip.toFixed(3)}, SWR ${r.swr.toFixed(2)}`;
    const was = state.held?.readings[k].dip ?? null, khz = was === null || r.dip === null ? 0 : Math.round((r.dip - was) * 1000);
    if (talking() && khz) told.textContent += `, ${khz > 0 ? "+" : "−"}${Math.abs(khz)} kHz`;
    if (cursor !== null) {
      const f = grid[k][cursor], s = swr(state.curves[k][cursor]);
      add(svg, "path", { d: `M${X(f)} ${top}V${H - below}`, class: "cursor" });
      const rightHalf = X(f) > W / 2;
      add(svg, "text", { x: X(f) + (rightHalf ? -5 : 5), y: top + 12, "text-anchor": rightHalf ? "end" : "start" },
        `${f.toFixed(3)}: ${s > 99 ? "over 99" : s.toFixed(2)}`);
    }
    svg.setAttribute("aria-label", `SWR on ${b.name}: ${spokenBand(k)}. Arrow keys read the curve.`);
  }

  panels.forEach((panel, k) => {
    const move = (m) => {
      panel.cursor = Math.min(Math.max(m, 0), D.points - 1);
      drawBand(k);
      return panel.cursor;
    };
    panel.svg.addEventListener("pointermove", (e) => read(e));
    panel.svg.addEventListener("pointerdown", (e) => read(e));
    panel.svg.addEventListener("pointerleave", () => { panel.cursor = null; drawBand(k); });
    panel.svg.addEventListener("blur", () => { panel.cursor = null; drawBand(k); });
    function read(e) {
      const box = panel.svg.getBoundingClientRect();
      move(Math.round(((e.clientX - box.left) / large() - 26) / (box.width / large() - 32) * (D.points - 1)));
    }
    panel.svg.addEventListener("keydown", (e) => {
      const step = { ArrowLeft: -1, ArrowRight: 1, PageDown: -10, PageUp: 10 }[e.key];
      if (!step) return;
      e.preventDefault();
      const m = move((panel.cursor ?? (D.points - 1) / 2) + step);
      $("spoken").textContent = `${grid[k][m].toFixed(3)} MHz: SWR ${swr(state.curves[k][m]).toFixed(2)}`;
    });
  });

  // ---- words and numbers --------------------------------------------------------------------------------------------

  function spokenBand(k) {
    const r = state.readings[k];
    if (r.dip === null) return "no dip in the range shown";
    const room = r.width ? `${r.open ? "more than " : ""}${r.width.toFixed(0)} kilohertz below 2 to 1` : "never below 2 to 1";
    return `dip at ${r.dip.toFixed(3)} MHz, SWR ${r.swr.toFixed(2)}, ${room}`;
  }

  const turnsOut = (m) => between(D.reel.metres, D.reel.turns, m);
  const metresOut = (turns) => between(D.reel.turns, D.reel.metres, turns);

  function shown(s, aloud) {
    const v = state.setting[s.path];
    if (s.unit === "m") {
      const turns = D.reel && s.path === "antenna.length" ? turnsOut(v) : null;
      return metres(v) + (turns === null ? "" : `, ${turns.toFixed(1)} turns${aloud ? " off the reel" : ""}`);
    }
    const places = Math.max(0, -Math.floor(Math.log10(s.step) + 1e-9));
    return `${v.toFixed(places)}${s.unit === "°" ? "°" : s.unit && " " + s.unit}`;
  }

  function table() {
    const held = state.held;
    document.querySelectorAll("#numbers th.moved").forEach((th) => { th.hidden = !held; });
    document.querySelector("#numbers tbody").replaceChildren(...D.bands.map((b, k) => {
      const r = state.readings[k], tr = document.createElement("tr");
      const cells = [r.dip === null ? "none" : r.dip.toFixed(3), r.swr === null ? "" : r.swr.toFixed(2),
        r.width === null ? "" : `${r.open ? ">" : ""}${r.width.toFixed(0)}`, r.worst > 99 ? ">99" : r.worst.toFixed(2)];
      if (held) {
        const was = held.readings[k].dip;
        cells.push(was === null || r.dip === null ? "" : ((r.dip - was) * 1000).toFixed(0).replace(/^(?=[1-9])/, "+").replace(/^-0$/, "0"));
      }
      const th = document.createElement("th");
      th.scope = "row"; th.textContent = b.name;
      tr.append(th, ...cells.map((text) => { const td = document.createElement("td"); td.textContent = text; return td; }));
      return tr;
    }));
    $("cut").textContent = state.readings.some((r) => r.open) ? "> the curve is still below 2:1 where the range shown ends." : "";
  }

  let speaking = 0;
  function say() {
    clearTimeout(speaking);
    speaking = setTimeout(() => {
      $("spoken").textContent = D.bands.map((b, k) => `${b.name}: ${spokenBand(k)}`).join("; ");
    }, 500);
  }

  function status(text, bad) {
    $("status").textContent = text;
    $("status").className = bad ? "bad" : "";
  }

  // ---- moving -----------------------------------------------------------------------------------------------------------

  const outside = () => D.sliders.filter((s) => {
    const v = state.setting[s.path], slack = 1e-6 * (s.high - s.low);
    return v < s.low - slack || v > s.high + slack;
  });

  function fitted() {
    state.solved = null;
    state.curves = radio(reflection(state.setting, state.picked), state.setting, state.picked);
    state.shape = shape(state.setting, state.picked);
    state.lit = glow(state.setting, state.picked, state.band);
    const e = D.errors;
    status(`fitted: within ${Math.max(e.swr, 0.001).toFixed(e.swr < 0.1 ? 3 : 2)} of the solver's SWR below ${e.below}`);
    show();
  }

  function show() {
    state.readings = D.bands.map((b, k) => readings(b, grid[k], state.curves[k]));
    D.sliders.forEach((s, i) => {
      $(`o${i}`).textContent = shown(s);
      $(`s${i}`).setAttribute("aria-valuetext", shown(s, true));
    });
    drawSide(state.shape);
    D.bands.forEach((_, k) => drawBand(k));
    table();
    say();
  }

  let asking = 0, latest = 0;
  function moved() {
    clearTimeout(asking);
    latest++;
    if (!outside().length) return fitted();
    D.sliders.forEach((s, i) => { $(`o${i}`).textContent = shown(s); });
    status("outside the fitted range; asking the solver…");
    asking = setTimeout(ask, 250);
  }

  async function ask() {
    const mine = ++latest;
    status("solving…");
    try {
      const answer = await fetch("/solve", { method: "POST", headers: { "Content-Type": "application/json" },
        body: JSON.stringify({ setting: state.setting, picked: state.picked }) });
      const told = await answer.json();
      if (mine !== latest) return;
      if (told.error) return status(told.error, true);
      state.solved = told;
      state.curves = told.bands.map((b) => Float64Array.from(b, (s) => (s - 1) / (s + 1)));
      state.shape = told.shape;
      state.lit = state.band < 0 || !D.lit ? null : told.glow[state.band];
      show();
      status(`solved in ${told.seconds.toFixed(1)} s`);
    } catch (fault) {
      if (mine === latest) status("the solver does not answer: is `tautwire explore --live` still running?", true);
    }
  }

  D.sliders.forEach((s, i) => {
    const input = $(`s${i}`);
    const [low, high] = D.live ? [s.liveLow, s.liveHigh] : [s.low, s.high];
    input.min = low; input.max = high; input.step = "any"; input.value = s.start;
    input.addEventListener("input", () => {
      const v = +input.value, near = Math.round(v / s.step) * s.step; // round steps, ends included
      state.setting[s.path] = v >= high ? high : v <= low ? low : Math.min(Math.max(+near.toFixed(9), low), high);
      moved();
    });
    const put = (value) => { input.value = value; input.dispatchEvent(new Event("input")); };
    const turns = D.reel && s.path === "antenna.length";
    [["less", -1], ["more", 1]].forEach(([name, way]) => { // one turn of the reel, else ten steps
      const button = input.parentNode.querySelector(`.${name}`);
      button.title = turns ? "one turn" : `${+(10 * s.step).toPrecision(6)} ${s.unit}`;
      button.addEventListener("click", () => {
        const now = state.setting[s.path];
        const then = turns ? metresOut(turnsOut(now) + way) : (Math.round(now / s.step) + 10 * way) * s.step;
        if (then !== null) put(then);
      });
    });
    input.addEventListener("keydown", (e) => {
      const n = { ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1, PageDown: -10, PageUp: 10 }[e.key];
      if (!n) return;
      e.preventDefault();
      put(Math.round(state.setting[s.path] / s.step + n) * s.step);
    });
  });
  D.choices.forEach((c, i) => {
    $(`c${i}`).value = c.start;
    $(`c${i}`).addEventListener("change", (e) => { state.picked[i] = +e.target.value; moved(); });
  });
  const now = () => ({ curves: state.curves, readings: state.readings, shape: state.shape, lit: state.lit });
  $("hold").addEventListener("click", () => {
    state.held = state.held ? null : now();
    $("hold").setAttribute("aria-pressed", String(Boolean(state.held)));
    show();
  });
  $("lit")?.addEventListener("change", (e) => {
    state.band = +e.target.value;
    const solved = state.solved?.glow;
    state.lit = state.band < 0 ? null : solved ? solved[state.band] : glow(state.setting, state.picked, state.band);
    if (state.held) state.held.lit = null; // of another band
    show();
  });
  $("feet").setAttribute("aria-pressed", String(state.feet));
  $("feet").addEventListener("click", () => {
    state.feet = !state.feet;
    $("feet").setAttribute("aria-pressed", String(state.feet));
    show();
  });
  $("again").addEventListener("click", () => {
    D.sliders.forEach((s, i) => { state.setting[s.path] = s.start; $(`s${i}`).value = s.start; });
    D.choices.forEach((c, i) => { state.picked[i] = c.start; $(`c${i}`).value = c.start; });
    moved();
  });
  $("solve")?.addEventListener("click", ask);

  // ---- talk: the same page for a projector, one stop after the other, with a ghost of the one before -----------------

  const stops = [{ name: "as the study has it", set: {}, pick: {} }];
  D.sliders.forEach((s) => [0, .25, .5, .75, 1].forEach((t) => {
    const value = +(Math.round((s.low + t * (s.high - s.low)) / s.step) * s.step).toFixed(9);
    stops.push({ label: s.label, path: s.path, set: { [s.path]: Math.min(Math.max(value, s.low), s.high) }, pick: {} });
  }));
  D.choices.forEach((c, i) => c.names.forEach((name, k) => {
    if (c.names.length > 1) stops.push({ name: `${c.label}: ${name}`, set: {}, pick: { [i]: k } });
  }));
  let at = 0, gliding = 0;

  function go(to) {
    const next = Math.min(Math.max(to, 0), stops.length - 1), stop = stops[next], from = { ...state.setting };
    if (next === at && state.held) return;
    at = next;
    cancelAnimationFrame(gliding);
    state.held = now();
    D.choices.forEach((c, i) => { state.picked[i] = stop.pick[i] ?? c.start; $(`c${i}`).value = state.picked[i]; });
    const target = Object.fromEntries(D.sliders.map((s) => [s.path, stop.set[s.path] ?? s.start]));
    const frames = matchMedia("(prefers-reduced-motion: reduce)").matches ? 1 : 16;
    const frame = (n) => {
      const t = n / frames, ease = t * t * (3 - 2 * t);
      D.sliders.forEach((s, i) => {
        state.setting[s.path] = n < frames ? from[s.path] + ease * (target[s.path] - from[s.path]) : target[s.path];
        $(`s${i}`).value = state.setting[s.path];
      });
      fitted();
      const s = D.sliders.find((one) => one.path === stop.path);
      $("stop").textContent = s ? `${s.label}: ${shown(s)}` : stop.name;
      if (n < frames) gliding = requestAnimationFrame(() => frame(n + 1));
    };
    frame(1);
  }

  function talk(on) {
    document.body.classList.toggle("talk", on);
    $("stop").hidden = !on;
    if (on) {
      document.documentElement.requestFullscreen?.().catch(() => {});
      at = -1; go(0);
      state.held = null;
    } else {
      cancelAnimationFrame(gliding);
      state.held = null;
      if (document.fullscreenElement) document.exitFullscreen();
    }
    $("hold").setAttribute("aria-pressed", "false");
    show();
  }
  $("talk").addEventListener("click", () => talk(true));
  document.addEventListener("fullscreenchange", () => { if (!document.fullscreenElement && talking()) talk(false); });
  window.addEventListener("keydown", (e) => { // remotes send PageDown and PageUp
    if (!talking() || e.ctrlKey || e.metaKey || e.altKey) return;
    const way = { PageDown: 1, ArrowRight: 1, ArrowDown: 1, " ": 1, Enter: 1, PageUp: -1, ArrowLeft: -1, ArrowUp: -1 }[e.key];
    if (!way && e.key !== "Home" && e.key !== "Escape") return;
    e.preventDefault();
    e.stopPropagation();
    if (e.key === "Escape") talk(false);
    else go(e.key === "Home" ? 0 : at + way);
  }, true);
  new ResizeObserver(() => state.curves && state.shape && show()).observe($("see"));

  const e = D.errors;
  $("trust").textContent = `Curves agree with the solver within ${e.reflection.toPrecision(1)} in reflection coefficient at the wire ` +
    `(typically ${e.typical.toPrecision(1)}) and within ${e.swr.toPrecision(1)} in SWR where it is below ${e.below}, ` +
    `at ${e.settings} settings drawn at random.`;
  window.explorer = { state, grid, swr }; // to look at from a console
  fitted();
})();
