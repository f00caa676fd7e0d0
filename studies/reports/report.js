"use strict";
(() => {
  const $ = (id) => document.getElementById(id);

  // ---- tables: a click or Enter on a heading sorts, again the other way round ------------------------------------

  for (const table of document.querySelectorAll(".wide table")) {
    const heads = [...table.tHead.rows[0].cells];
    heads.forEach((th, column) => th.querySelector("button").addEventListener("click", () => {
      const down = th.getAttribute("aria-sort") === "ascending";
      heads.forEach((other) => other.removeAttribute("aria-sort"));
      th.setAttribute("aria-sort", down ? "descending" : "ascending");
      const words = th.classList.contains("word"), body = table.tBodies[0];
      const key = (row) => { const td = row.cells[column]; return td.dataset.key ?? td.textContent; };
      const rows = [...body.rows].map((row) => [words || key(row) === "" ? key(row) : +key(row), row]);
      rows.sort(([a], [b]) => {
        if (a === "" || b === "") return (a === "") - (b === ""); // empty last, both ways
        const order = words ? String(a).localeCompare(String(b), undefined, { numeric: true }) : a - b;
        return down ? -order : order;
      });
      body.append(...rows.map(([, row]) => row));
      $("spoken").textContent = `Sorted by ${th.textContent.trim()}, ${down ? "highest" : "lowest"} first.`;
    }));
  }

  // rows that hold what is typed
  document.querySelectorAll(".wide").forEach((box) => {
    const rows = [...box.querySelectorAll("tbody tr")];
    if (rows.length < 12) return;
    const input = document.createElement("input");
    input.type = "search";
    input.placeholder = "20 m";
    const label = document.createElement("label");
    label.className = "filter";
    label.append("rows with ", input);
    input.addEventListener("input", () => {
      const words = input.value.trim().toLowerCase();
      rows.forEach((row) => { row.hidden = ![...row.cells].some((c) => c.textContent.toLowerCase().includes(words)); });
      $("spoken").textContent = `${rows.filter((row) => !row.hidden).length} of ${rows.length} rows`;
    });
    box.before(label);
  });

  // print the details of the answer and the tables that are open, and put it back afterwards
  let closed = [];
  addEventListener("beforeprint", () => {
    closed = [...document.querySelectorAll("#answer details:not([open])")];
    closed.forEach((d) => { d.open = true; });
  });
  addEventListener("afterprint", () => closed.forEach((d) => { d.open = false; }));

  // ---- plots -----------------------------------------------------------------------------------------------------------

  const D = JSON.parse($("data").textContent);
  if (!D) return;
  const NS = "http://www.w3.org/2000/svg", COLOURS = ["pine", "ember", "plum", "lake", "bark", "stone"];
  const MARKS = ["M-5 0a5 5 0 1 0 10 0a5 5 0 1 0-10 0", "M-5-5h10v10h-10z", "M0-6l6 11h-12z", "M0-6.5l6.5 6.5l-6.5 6.5l-6.5-6.5z", "M0 6l6-11h-12z", "M-2-6h4v4h4v4h-4v4h-4v-4h-4v-4h4z"];
  let now = 0;
  const add = (parent, tag, attributes, text) => {
    const e = document.createElementNS(NS, tag);
    for (const [k, v] of Object.entries(attributes)) e.setAttribute(k, v);
    if (text !== undefined) e.textContent = text;
    parent.append(e);
    return e;
  };
  const line = (points) => points.map(([x, y], i) => `${i ? "L" : "M"}${x.toFixed(1)} ${y.toFixed(1)}`).join("");
  const text = (v) => (typeof v === "object" && v !== null ? Object.entries(v).map(([a, b]) => `${a} ${b}`).join(", ") : `${v}`);
  function labelled(axis, value) {
    const [, name, unit] = axis.label.match(/^(.*?)(?: \((.*)\))?$/);
    return `${name} ${text(value)}${unit ? (unit === "°" ? "°" : ` ${unit}`) : ""}`;
  }
  const caseName = (c) => D.axes.map((a, i) => labelled(a, c.labels[i])).join(", ") || "the set-up";
  function ticks(low, high, count) {
    const rough = (high - low) / count || 1, size = 10 ** Math.floor(Math.log10(rough));
    const step = size * [1, 2, 5, 10].find((s) => s * size >= rough * .8), out = [];
    for (let k = Math.ceil(low / step - 1e-9); k * step <= high * (1 + 1e-12); k++) out.push(+(k * step).toFixed(9));
    return out;
  }
  const svgIn = (parent, title) => {
    const h = document.createElement("h3");
    h.textContent = title;
    const svg = document.createElementNS(NS, "svg");
    svg.setAttribute("role", "img");
    $(parent).append(h, svg);
    return svg;
  };

  const LEVELS = [1, 1.5, 2, 3, 5, 10], TOP = 10;
  const swrPlots = D.bands.map((band) => ({ band, svg: svgIn("swr", band.name), cursor: null }));
  const some = D.cases.filter((_, i) => i % Math.ceil(D.cases.length / 40) === 0);

  function drawSwr(plot) {
    const { band: b, svg, cursor } = plot, c = D.cases[now], curve = c.curves[b.name], dip = c.dips[b.name];
    const W = svg.clientWidth || 400, H = svg.clientHeight || 220, [left, right, top, below] = [34, 10, 8, 24];
    svg.setAttribute("viewBox", `0 0 ${W} ${H}`);
    svg.replaceChildren();
    const X = (f) => left + (f - b.low) / (b.high - b.low) * (W - left - right);
    const Y = (s) => H - below - Math.log(Math.min(s, TOP)) / Math.log(TOP) * (H - top - below);
    const at = (m, n) => b.low + (b.high - b.low) * m / (n - 1);
    add(svg, "rect", { x: X(b.lower), y: top, width: Math.max(2, X(b.upper) - X(b.lower)), height: H - top - below, class: "inside" });
    for (const s of LEVELS) {
      add(svg, "path", { d: `M${left} ${Y(s)}H${W - right}`, class: s === 2 ? "level" : "grid" });
      add(svg, "text", { x: left - 5, y: Y(s) + 4, "text-anchor": "end", class: "soft" }, s);
    }
    for (const f of ticks(b.low, b.high, 5)) {
      add(svg, "path", { d: `M${X(f)} ${H - below}v4`, class: "grid", style: "stroke:var(--quiet)" });
      if (X(f) < W - 50) add(svg, "text", { x: X(f), y: H - 6, "text-anchor": "middle", class: "soft" }, f);
    }
    add(svg, "text", { x: W - right, y: H - 6, "text-anchor": "end", class: "soft" }, "MHz");
    const path = (values) => line(values.map((s, m) => [X(at(m, values.length)), Y(s)]));
    for (const other of some) if (other !== c && other.curves[b.name]) add(svg, "path", { d: path(other.curves[b.name]), class: "other" });
    if (!curve) return;
    add(svg, "path", { d: path(curve), class: "curve" });
    let words = "no dip in the range shown";
    if (dip && dip[0] !== null) {
      add(svg, "circle", { cx: X(dip[0]), cy: Y(dip[1]), r: 5, class: "dip" });
      words = `dip at ${dip[0].toFixed(3)} MHz, SWR ${dip[1].toFixed(2)}, ${dip[2].toFixed(0)} kHz below 2 to 1`;
    }
    if (cursor !== null) add(svg, "path", { d: `M${X(at(cursor, curve.length))} ${top}V${H - below}`, class: "cursor" });
    svg.setAttribute("aria-label", `SWR on ${b.name}, ${caseName(c)}: ${words}. Arrow keys read the curve.`);
  }

  for (const plot of swrPlots) {
    const { band: b, svg } = plot;
    svg.setAttribute("tabindex", "0");
    const move = (m, aloud) => {
      const curve = D.cases[now].curves[b.name];
      if (!curve) return;
      plot.cursor = Math.min(Math.max(m, 0), curve.length - 1);
      drawSwr(plot);
      const f = b.low + (b.high - b.low) * plot.cursor / (curve.length - 1), s = curve[plot.cursor];
      $("reading").textContent = `${b.name}, ${caseName(D.cases[now])}: SWR ${s >= 99 ? "over 99" : s.toFixed(2)} at ${f.toFixed(3)} MHz`;
    };
    const read = (e) => {
      const box = svg.getBoundingClientRect(), curve = D.cases[now].curves[b.name];
      if (curve) move(Math.round((e.clientX - box.left - 34) / (box.width - 44) * (curve.length - 1)));
    };
    svg.addEventListener("pointermove", read);
    svg.addEventListener("pointerdown", read);
    svg.addEventListener("pointerleave", () => { plot.cursor = null; drawSwr(plot); });
    svg.addEventListener("keydown", (e) => {
      const step = { ArrowLeft: -1, ArrowRight: 1, PageDown: -10, PageUp: 10 }[e.key];
      if (!step) return;
      e.preventDefault();
      move((plot.cursor ?? 50) + step);
    });
  }

  // dips against the first axis with numbers; the rest of a case's labels make the lines
  const along = D.axes.findIndex((a) => a.numbers);
  const rest = (c) => D.axes.map((a, i) => (i === along ? null : labelled(a, c.labels[i]))).filter(Boolean).join(", ");
  const lines = [...new Set(D.cases.map(rest))];
  const dipPlots = along < 0 || D.cases.length < 2 ? [] : D.bands.map((band) => ({ band, svg: svgIn("dips", band.name) }));
  if (!dipPlots.length) $("walk").remove();

  function drawDips({ band: b, svg }) {
    const points = D.cases.map((c, i) => [c.labels[along], c.dips[b.name]?.[0] ?? null, rest(c), i]).filter(([, f]) => f !== null);
    const W = svg.clientWidth || 400, H = svg.clientHeight || 220, [left, right, top, below] = [52, 12, 22, 26];
    svg.setAttribute("viewBox", `0 0 ${W} ${H}`);
    svg.replaceChildren();
    if (!points.length) return void add(svg, "text", { x: 10, y: 30 }, "no dip in any case");
    const xs = D.cases.map((c) => c.labels[along]), fs = points.map((p) => p[1]);
    const [x0, x1] = [Math.min(...xs), Math.max(...xs)];
    let [y0, y1] = [Math.min(...fs), Math.max(...fs)];
    const pad = Math.max((y1 - y0) * .12, b.upper * .002);
    [y0, y1] = [y0 - pad, y1 + pad];
    const X = (x) => left + 8 + (x1 > x0 ? (x - x0) / (x1 - x0) : .5) * (W - left - right - 16);
    const Y = (f) => H - below - (f - y0) / (y1 - y0) * (H - top - below);
    const inside = [Math.max(Y(b.upper), top), Math.min(Y(b.lower), H - below)];
    if (inside[1] > inside[0]) add(svg, "rect", { x: left, y: inside[0], width: W - left - right, height: inside[1] - inside[0], class: "inside" });
    for (const f of ticks(y0, y1, 4)) {
      add(svg, "path", { d: `M${left} ${Y(f)}H${W - right}`, class: "grid" });
      add(svg, "text", { x: left - 5, y: Y(f) + 4, "text-anchor": "end", class: "soft" }, f);
    }
    add(svg, "text", { x: left - 5, y: 11, "text-anchor": "end", class: "soft" }, "MHz");
    const name = D.axes[along].label, room = W - right - 7 * name.length - 12;
    for (const x of ticks(x0, x1, 5)) if (X(x) < room) add(svg, "text", { x: X(x), y: H - 6, "text-anchor": "middle", class: "soft" }, x);
    add(svg, "text", { x: W - right, y: H - 6, "text-anchor": "end", class: "soft" }, name);
    lines.forEach((which, k) => {
      const mine = points.filter((p) => p[2] === which).sort((p, q) => p[0] - q[0]), colour = `var(--${COLOURS[k % 6]})`;
      add(svg, "path", { d: line(mine.map(([x, f]) => [X(x), Y(f)])), class: "curve", style: `stroke:${colour};stroke-width:1.5` });
      for (const [x, f, , i] of mine) {
        const dot = add(svg, "path", { d: MARKS[k % 6], transform: `translate(${X(x).toFixed(1)} ${Y(f).toFixed(1)})`, fill: colour, class: i === now ? "point now" : "point" });
        dot.addEventListener("click", () => choose(i));
        add(dot, "title", {}, `${caseName(D.cases[i])}: ${f.toFixed(3)} MHz`);
      }
    });
    svg.setAttribute("aria-label", `Dip on ${b.name} against ${name}, from ${Math.min(...fs).toFixed(3)} to ${Math.max(...fs).toFixed(3)} MHz.`);
  }
  if (dipPlots.length && lines.length > 1) {
    const key = document.createElement("p");
    key.className = "quiet";
    lines.forEach((which, k) => {
      const svg = add(key, "svg", { width: 16, height: 14, viewBox: "-8 -7 16 14", style: "display:inline;width:16px;height:14px" });
      add(svg, "path", { d: MARKS[k % 6], fill: `var(--${COLOURS[k % 6]})` });
      key.append(` ${which}  `);
    });
    $("dips").prepend(key);
  }

  function choose(i) {
    now = (i + D.cases.length) % D.cases.length;
    $("case").value = now;
    const c = D.cases[now];
    $("reading").textContent = `${caseName(c)}: ` + D.bands.map((b) => {
      const dip = c.dips[b.name];
      return dip && dip[0] !== null ? `${b.name} dips at ${dip[0].toFixed(3)} MHz with SWR ${dip[1].toFixed(2)}` : `${b.name} has no dip`;
    }).join("; ");
    draw();
  }
  function draw() {
    swrPlots.forEach(drawSwr);
    dipPlots.forEach(drawDips);
  }
  D.cases.forEach((c, i) => $("case").add(new Option(caseName(c), i)));
  $("case").addEventListener("change", (e) => choose(+e.target.value));
  $("before").addEventListener("click", () => choose(now - 1));
  $("after").addEventListener("click", () => choose(now + 1));
  new ResizeObserver(draw).observe($("pair"));
  choose(0);
})();
