"use strict";
/* What the explorer and the pocket page work out, without a page: curves, dips, the wire's shape, what was learned from
dips, stops. One call makes it all from a page's data D (see explorer.py and pocket/page.py); Node can load it as well. The same
steps in Python: explorer/surface.py, pocket/fitted.py, learned/posterior.py, pocket/linear.py, pocket/stops.py. */
const tautwireCore = (D) => {
  const Z = 2450; // ohm, the level of the nodes' reflection coefficients
  const grid = D.bands.map((b) => Float64Array.from({ length: D.points }, (_, i) => b.low + (b.high - b.low) * i / (D.points - 1)));

  // ---- curves: the same steps as surface.py -------------------------------------------------------------------

  function lagrange(nodes, x, most) {
    const n = nodes.length, size = Math.min(most, n);
    let cell = 0;
    for (let i = 1; i < n - 1; i++) if (nodes[i] <= x) cell++;
    const first = Math.min(Math.max(cell - Math.floor(size / 2) + 1, 0), n - size), out = [];
    for (let i = first; i < first + size; i++) {
      let w = 1;
      for (let j = first; j < first + size; j++) if (j !== i) w *= (x - nodes[j]) / (nodes[i] - nodes[j]);
      out.push([i, w]);
    }
    return out;
  }

  function blend(wire, setting) {
    let out = [[0, 1]];
    for (const s of D.sliders) {
      if (s.wire !== wire) continue;
      const near = lagrange(s.nodes, setting[s.path], s.blended);
      out = out.flatMap(([index, w]) => near.map(([i, v]) => [index * s.nodes.length + i, w * v]));
    }
    return out;
  }

  const number = (picked) => D.choices.reduce((n, c, i) => n * c.names.length + picked[i], 0);

  // adds w R(f ratio) to re, im; R is the barycentric form of one node and band
  function addRational(curve, f, ratio, w, re, im) {
    const [support, vr, vi, wr, wi] = curve, K = support.length;
    for (let m = 0; m < f.length; m++) {
      let nr = 0, ni = 0, dr = 0, di = 0;
      for (let k = 0; k < K; k++) {
        const gap = f[m] * ratio - support[k] || 1e-12, cr = wr[k] / gap, ci = wi[k] / gap;
        dr += cr; di += ci;
        nr += cr * vr[k] - ci * vi[k]; ni += cr * vi[k] + ci * vr[k];
      }
      const size = dr * dr + di * di;
      re[m] += w * (nr * dr + ni * di) / size;
      im[m] += w * (ni * dr - nr * di) / size;
    }
  }

  function reflection(setting, picked) {
    const wire = D.wires[D.pick[number(picked)][0]];
    if (wire.fitted) return wire.fitted.map((form, b) => fitted(form, setting, grid[b]));
    const near = blend(true, setting);
    const length = near.reduce((sum, [i, w]) => sum + w * wire.nodes[i].length, 0);
    return D.bands.map((_, b) => {
      const re = new Float64Array(D.points), im = new Float64Array(D.points);
      for (const [i, w] of near) addRational(wire.nodes[i].bands[b], grid[b], length / wire.nodes[i].length, w, re, im);
      return [re, im];
    });
  }

  const times = ([a, b], [c, d]) => [a * c - b * d, a * d + b * c];
  const plus = ([a, b], [c, d]) => [a + c, b + d];
  const over = ([a, b], [c, d]) => { const s = c * c + d * d; return [(a * c + b * d) / s, (b * c - a * d) / s]; };
  const at = (column, m) => (typeof column === "number" ? column : column[m]);
  const through = ([a, b, c, d], v, i) => [plus(times(a, v), times(b, i)), plus(times(c, v), times(d, i))];

  // |reflection| at the radio on the band's grid
  function radio(gamma, setting, picked) {
    const feed = D.feeds[D.pick[number(picked)][1]], near = blend(false, setting);
    const reference = near.reduce((sum, [i, w]) => sum + w * feed[i].reference, 0);
    const length = setting["coax.length"] ?? feed[0].length;
    return gamma.map(([re, im], b) => {
      const out = new Float64Array(D.points), count = feed[0].bands[b].length / 2;
      for (let m = 0; m < D.points; m++) {
        const parts = [];
        for (let p = 0; p < count; p++) {
          let x = 0, y = 0;
          for (const [i, w] of near) { x += w * at(feed[i].bands[b][2 * p], m); y += w * at(feed[i].bands[b][2 * p + 1], m); }
          parts.push([x, y]);
        }
        let [v, i] = through(parts, [Z * (1 + re[m]), Z * im[m]], [1 - re[m], -im[m]]);
        if (count > 4) {
          const [a, t] = times(parts[4], [length, 0]);
          const cosh = [Math.cosh(a) * Math.cos(t), Math.sinh(a) * Math.sin(t)];
          const sinh = [Math.sinh(a) * Math.cos(t), Math.cosh(a) * Math.sin(t)];
          [v, i] = through([cosh, times(parts[5], sinh), over(sinh, parts[5]), cosh], v, i);
        }
        const r = times([reference, 0], i), g = over([v[0] - r[0], v[1] - r[1]], plus(v, r));
        out[m] = Math.min(Math.hypot(g[0], g[1]), 0.9999);
      }
      return out;
    });
  }

  // ---- the fitted form: the same steps as pocket/fitted.py -----------------------------------------------------------

  // coefficients of a form, from 16-bit integers in base64
  function coefficients(form) {
    if (!form.values) {
      const bytes = typeof atob === "function" ? Uint8Array.from(atob(form.data), (c) => c.charCodeAt(0)) : Buffer.from(form.data, "base64");
      const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
      form.values = Float64Array.from({ length: bytes.byteLength / 2 }, (_, i) => view.getInt16(2 * i, true) * form.scales[Math.floor(i / 2 / form.powers.length)]);
    }
    return form.values;
  }

  const chebyshev = (x, most) => {
    const out = [1, x];
    for (let n = 2; n <= most; n++) out.push(2 * x * out[n - 1] - out[n - 2]);
    return out;
  };

  // reflection [re, im] on the frequencies f (MHz): (a + b u + c w + d u w) / (1 + e u + f w + g u w)
  function fitted(form, setting, f) {
    const at = (path) => setting[path], length = at("antenna.length"), coax = at("coax.length");
    const place = [length, at("antenna.slope"), Math.log(at("antenna.feed_height")), Math.exp(-coax / 4)];
    const terms = place.map((v, i) => chebyshev(2 * (v - form.low[i]) / (form.high[i] - form.low[i]) - 1, form.most));
    const count = form.powers.length, values = coefficients(form), most = form.most_f, sums = [];
    for (let p = 0; p < 7; p++) {
      const re = new Float64Array(most + 1), im = new Float64Array(most + 1);
      for (let m = 0; m < count; m++) {
        const [j, ...rest] = form.powers[m], size = rest.reduce((s, n, i) => s * terms[i][n], 1), k = 2 * (p * count + m);
        re[j] += size * values[k]; im[j] += size * values[k + 1];
      }
      sums.push([re, im]);
    }
    const re = new Float64Array(f.length), im = new Float64Array(f.length);
    for (let m = 0; m < f.length; m++) {
      const t = chebyshev(2 * (f[m] - form.band[0]) / (form.band[1] - form.band[0]) - 1, most);
      const poly = sums.map(([r, i]) => [t.reduce((s, v, n) => s + v * r[n], 0), t.reduce((s, v, n) => s + v * i[n], 0)]);
      const k = 4 * Math.PI * f[m] / 299.792458; // round trips
      const u = [Math.cos(k * coax * form.speeds[0]), -Math.sin(k * coax * form.speeds[0])];
      const w = [Math.cos(k * length * form.speeds[1]), -Math.sin(k * length * form.speeds[1])], uw = times(u, w);
      const top = plus(plus(poly[0], times(poly[1], u)), plus(times(poly[2], w), times(poly[3], uw)));
      const below = plus(plus([1, 0], times(poly[4], u)), plus(times(poly[5], w), times(poly[6], uw)));
      [re[m], im[m]] = over(top, below);
    }
    return [re, im];
  }

  const swr = (g) => (1 + g) / (1 - g);

  // the band's dip (of the minima nearer to this band than to the next: the deepest inside, else the nearest to it; by the
  // parabola through three points), width below 2:1 around it, worst inside the band
  function readings(b, f, g) {
    let low = -1, worst = 0;
    const off = (m) => Math.max(b.lower - f[m], f[m] - b.upper, 0);
    for (let m = 1; m < g.length - 1; m++) {
      if (g[m] > g[m - 1] || g[m] >= g[m + 1] || f[m] < b.own[0] || f[m] >= b.own[1]) continue;
      if (low < 0 || off(m) < off(low) || (off(m) === off(low) && g[m] < g[low])) low = m;
    }
    const inside = (x) => {
      const t = (x - f[0]) / (f[1] - f[0]), m = Math.min(Math.floor(t), g.length - 2);
      return g[m] + (t - m) * (g[m + 1] - g[m]);
    };
    for (let m = 0; m < g.length; m++) if (f[m] >= b.lower && f[m] <= b.upper) worst = Math.max(worst, g[m]);
    worst = Math.max(worst, inside(b.lower), inside(b.upper));
    if (low < 0) return { dip: null, swr: null, width: null, worst: swr(worst) };
    const [y0, y1, y2] = [g[low - 1] ** 2, g[low] ** 2, g[low + 1] ** 2], bend = y0 - 2 * y1 + y2;
    const shift = bend > 0 ? (y0 - y2) / (2 * bend) : 0, best = Math.sqrt(Math.max(0, y1 - (y0 - y2) * shift / 4));
    const level = 1 / 3; // SWR 2
    let width = 0, open = false;
    if (best < level) {
      const edge = (step) => {
        let m = low;
        while (g[m] < level && m + step >= 0 && m + step < g.length) m += step;
        if (g[m] < level) { open = true; return f[m]; }
        return f[m] - step * (f[1] - f[0]) * (g[m] - level) / (g[m] - Math.min(g[m - step], level));
      };
      width = Math.max(0, edge(1) - edge(-1)) * 1000;
    }
    return { dip: f[low] + shift * (f[1] - f[0]), swr: swr(best), width, open, worst: swr(worst) };
  }

  // ---- the wire's shape -----------------------------------------------------------------------------------------

  const shapesOf = (picked) => D.shapes[D.wires[D.pick[number(picked)][0]].shape];

  function shape(setting, picked) {
    const nodes = shapesOf(picked), near = blend(true, setting);
    const heaviest = near.reduce((a, c) => (c[1] > a[1] ? c : a))[0], like = nodes[heaviest];
    const same = near.every(([i]) => nodes[i].every((c, k) => c[2].length === like[k][2].length));
    if (!same) return like;
    return like.map(([name, role, points], k) => [name, role,
      points.map((_, p) => [0, 1, 2].map((x) => near.reduce((sum, [i, w]) => sum + w * nodes[i][k][2][p][x], 0)))]);
  }

  // ---- current and pattern: at the middle of one band, blended as the curves are --------------------------------------

  function glow(setting, picked, k) {
    if (k < 0 || !D.lit) return null;
    const nodes = D.wires[D.pick[number(picked)][0]].nodes, near = blend(true, setting);
    const sum = (of) => of(nodes[0].glow[k]).map((_, p) => near.reduce((s, [i, w]) => s + w * of(nodes[i].glow[k])[p], 0));
    return { f_mhz: nodes[0].glow[k].f_mhz, dbi: sum((g) => g.dbi),
      amps: nodes[0].glow[k].amps.map((_, c) => [0, 1].map((part) => sum((g) => g.amps[c][part]))) };
  }
  function between(x, y, v) { // y at v, straight between rising x; null outside
    if (!(v >= x[0] && v <= x[x.length - 1])) return null;
    const i = Math.min(Math.max(x.findIndex((u) => u >= v), 1), x.length - 1);
    return y[i - 1] + (v - x[i - 1]) / (x[i] - x[i - 1]) * (y[i] - y[i - 1]);
  }

  // ---- what dips say: the same steps as learned/posterior.py with readings of pocket/linear.py ------------------------------

  const P = D.pocket;

  function erfcx(x) { // exp(x x) erfc(x) for x >= 2 by its continued fraction
    let t = 0;
    for (let k = 120; k >= 1; k--) t = k / 2 / (x + t);
    return 1 / Math.sqrt(Math.PI) / (x + t);
  }
  function ndtr(x) { // the normal distribution
    const z = Math.abs(x) / Math.SQRT2;
    let tail;
    if (z < 2) {
      let term = z, sum = z;
      for (let n = 1; Math.abs(term) > 1e-18 * sum; n++) { term *= -z * z / n; sum += term / (2 * n + 1); if (n > 200) break; }
      tail = 0.5 - sum / Math.sqrt(Math.PI);
    } else tail = 0.5 * Math.exp(-z * z) * erfcx(z);
    return x < 0 ? tail : 1 - tail;
  }
  function ndtri(p) { // its inverse, by Halley's steps on the smaller tail
    if (p > 0.5) return -ndtri(1 - p);
    if (p === 0.5) return 0;
    const t = Math.sqrt(-2 * Math.log(p));
    let x = -(t - (2.515517 + t * (0.802853 + t * 0.010328)) / (1 + t * (1.432788 + t * (0.189269 + t * 0.001308))));
    for (let i = 0; i < 4; i++) {
      const e = (ndtr(x) - p) * Math.sqrt(2 * Math.PI) * Math.exp(x * x / 2);
      x -= e / (1 + x * e / 2);
    }
    return x;
  }

  const MOST = 5;
  const clip = (v, a, b) => Math.min(Math.max(v, a), b);
  const scaleOf = (kind, cell) => [cell.spread, cell.spread, cell.leaves, cell.model][kind];
  const offOne = (z, kind, cell) => scaleOf(kind, cell) * (kind === 1 || kind === 2 ? -ndtri(ndtr(-clip(z, -MOST, MOST)) / 2) : z);
  function hiddenOne(x, kind, cell) {
    const u = x / scaleOf(kind, cell);
    if (kind !== 1 && kind !== 2) return u;
    return clip(-ndtri(clip(2 * ndtr(-Math.max(u, 1e-9)), 1e-12, 1 - 1e-12)), -MOST, MOST);
  }
  const off = (z, kinds, cell) => z.map((v, i) => offOne(v, kinds[i], cell));
  const hidden = (x, kinds, cell) => x.map((v, i) => hiddenOne(v, kinds[i], cell));
  const slopeOf = (z, kinds, cell) => z.map((v, i) => (offOne(v + 1e-4, kinds[i], cell) - offOne(v - 1e-4, kinds[i], cell)) / 2e-4);

  // small dense matrices, rows of arrays
  const dot = (a, b) => { let s = 0; for (let i = 0; i < a.length; i++) s += a[i] * b[i]; return s; };
  const eye = (n) => Array.from({ length: n }, (_, i) => { const r = new Array(n).fill(0); r[i] = 1; return r; });
  const turned = (m) => (m.length ? m[0].map((_, j) => m.map((r) => r[j])) : []);
  function cholesky(m) {
    const n = m.length, l = m.map((r) => r.slice().fill(0));
    for (let i = 0; i < n; i++) for (let j = 0; j <= i; j++) {
      let s = m[i][j];
      for (let k = 0; k < j; k++) s -= l[i][k] * l[j][k];
      l[i][j] = i === j ? Math.sqrt(s) : s / l[j][j];
    }
    return l;
  }
  function forward(l, b) { // l^-1 b
    const x = b.slice();
    for (let i = 0; i < x.length; i++) { for (let k = 0; k < i; k++) x[i] -= l[i][k] * x[k]; x[i] /= l[i][i]; }
    return x;
  }
  function backward(l, b) { // l^-T b
    const x = b.slice();
    for (let i = x.length - 1; i >= 0; i--) { for (let k = i + 1; k < x.length; k++) x[i] -= l[k][i] * x[k]; x[i] /= l[i][i]; }
    return x;
  }
  const solve = (l, b) => backward(l, forward(l, b));
  const logDet = (l) => l.reduce((s, r, i) => s + 2 * Math.log(r[i]), 0);

  const COUNT = P ? P.values.length : 0, NB = D.bands.length;
  const KINDS = P ? [...P.values.map((v) => v.kind), ...new Array(3 * NB).fill(3)] : [];
  const LAYERS = ["antenna", "site", "hang"];

  // (dip, size) slopes of a band at a setting: straight between the lengths that they were read at
  function slopes(setting, picked, b) {
    const table = P.slopes[D.pick[number(picked)][0]], x = setting[P.along] ?? P.lengths[0], n = P.lengths.length;
    let i = 0;
    while (i < n - 2 && P.lengths[i + 1] <= x) i++;
    const t = n > 1 ? clip((x - P.lengths[i]) / (P.lengths[i + 1] - P.lengths[i]), 0, 1) : 0;
    const mix = (name) => table[i][name][b].map((v, k) => (n > 1 ? v + t * (table[i + 1][name][b][k] - v) : v));
    return [mix("dip"), mix("size")];
  }

  // names of an outing's unknowns, in order
  function keysOf(o) {
    const site = `${o.place}|${P.site.map((c) => o.picked[c]).join()}`, whose = { antenna: "", site, hang: o.hang };
    return [...P.values.map((v) => `${v.layer}|${whose[v.layer]}|${v.path}`),
      ...LAYERS.flatMap((layer) => D.bands.map((b) => `${layer}|${whose[layer]}|error ${b.name}`))];
  }

  // an outing's readings: what was read less what is modelled with nothing off, and the slopes, both in errors
  function readingsOf(o) {
    const rows = [], seen = [];
    for (const d of o.dips) {
      const base = nominal(o.setting, o.picked)[d.band];
      if (base.dip === null) continue;
      const [dip, size] = slopes(o.setting, o.picked, d.band);
      seen.push(Math.log(d.f / base.dip) / P.error.dip);
      rows.push([...dip, ...LAYERS.flatMap((l) => P.mixing[l][d.band])].map((v) => v / P.error.dip));
      if (d.swr) {
        seen.push(((d.swr - 1) / (d.swr + 1) - base.size) / P.error.size);
        rows.push([...size, ...new Array(3 * NB).fill(0)].map((v) => v / P.error.size));
      }
    }
    return { seen, rows };
  }

  function logOf(outings) { // unknowns shared by hangings, and each hanging's own
    const shared = new Map(), sharedKinds = [], hangs = new Map();
    for (const o of outings) {
      const name = `${o.place}|${o.hang}`;
      if (!hangs.has(name)) hangs.set(name, { own: new Map(), kinds: [], parts: [] });
      const hang = hangs.get(name), keys = keysOf(o);
      const index = keys.map((key, i) => {
        const mine = key.startsWith("hang|"), places = mine ? hang.own : shared;
        if (!places.has(key)) { places.set(key, places.size); (mine ? hang.kinds : sharedKinds).push(KINDS[i]); }
        return [mine, places.get(key)];
      });
      hang.parts.push({ index, ...readingsOf(o) });
    }
    return { shared, kinds: sharedKinds, hangs: [...hangs.values()], names: [...hangs.keys()] };
  }

  function linear(log, shared, own) { // every hanging's readings about a place
    return log.hangs.map((hang, h) => {
      const left = [], byShared = [], byOwn = [];
      for (const part of hang.parts) part.rows.forEach((row, r) => {
        const s = new Array(shared.length).fill(0), o = new Array(hang.kinds.length).fill(0);
        let modelled = 0;
        part.index.forEach(([mine, i], k) => {
          (mine ? o : s)[i] += row[k];
          modelled += row[k] * (mine ? own[h][i] : shared[i]);
        });
        left.push(part.seen[r] - modelled); byShared.push(s); byOwn.push(o);
      });
      return { left, shared: byShared, own: byOwn };
    });
  }

  function solved(log, at, cell) { // the best hidden values with readings linear about a point, and the evidence
    const z = hidden(at.shared, log.kinds, cell), slope = slopeOf(z, log.kinds, cell), n = z.length;
    const precision = eye(n), pull = new Array(n).fill(0), kept = [];
    let logs = 0, misfit = 0;
    log.hangs.forEach((hang, h) => {
      const line = at.lines[h], w = hidden(at.own[h], hang.kinds, cell), steep = slopeOf(w, hang.kinds, cell);
      const own = line.own.map((r) => r.map((v, i) => v * steep[i])), shared = line.shared.map((r) => r.map((v, i) => v * slope[i]));
      const target = line.left.map((v, r) => v + dot(shared[r], z) + dot(own[r], w));
      const root = cholesky(own.map((a, i) => own.map((b, j) => dot(a, b) + (i === j ? 1 : 0))));
      const white = turned(shared).map((c) => forward(root, c)), seen = forward(root, target);
      for (let i = 0; i < n && target.length; i++) {
        pull[i] += dot(white[i], seen);
        for (let j = 0; j <= i; j++) { const v = dot(white[i], white[j]); precision[i][j] += v; if (i !== j) precision[j][i] += v; }
      }
      logs += logDet(root); misfit += dot(seen, seen);
      kept.push({ root, shared, own, target });
    });
    const root = cholesky(precision), after = logDet(root), mean = solve(root, pull);
    const covariance = eye(n).map((e) => solve(root, e));
    misfit -= dot(pull, mean);
    const own = kept.map((k) => {
      const back = solve(k.root, k.target.map((v, r) => v - dot(k.shared[r], mean)));
      return turned(k.own).map((c) => dot(c, back));
    }).map((o, h) => (o.length ? o : new Array(log.hangs[h].kinds.length).fill(0)));
    return { cell, mean, covariance, own, lines: kept, evidence: -(misfit + logs + after) / 2 + Math.log(cell.weight), misfit };
  }

  function cost(log, at, cell) {
    const z = hidden(at.shared, log.kinds, cell);
    let total = dot(z, z);
    log.hangs.forEach((hang, h) => {
      const w = hidden(at.own[h], hang.kinds, cell);
      total += dot(at.lines[h].left, at.lines[h].left) + dot(w, w);
    });
    return total;
  }

  function stepped(log, at, found) { // the point that the linear answer leads to, shortened until it is no worse
    const { cell } = found, z = hidden(at.shared, log.kinds, cell), hs = at.own.map((o, h) => hidden(o, log.hangs[h].kinds, cell));
    const steps = [found.mean.map((v, i) => v - z[i]), ...found.own.map((o, h) => o.map((v, i) => v - hs[h][i]))];
    const size = Math.max(0, ...steps.flat().map(Math.abs)), was = cost(log, at, cell);
    let part = size > 0 ? Math.min(1, 2.5 / size) : 1;
    for (let i = 0; i < 4 && size > 0; i++) {
      const shared = off(z.map((v, j) => v + part * steps[0][j]), log.kinds, cell);
      const own = hs.map((o, h) => off(o.map((v, j) => v + part * steps[h + 1][j]), log.hangs[h].kinds, cell));
      const next = { shared, own, lines: linear(log, shared, own) };
      if (cost(log, next, cell) < was + 1e-6) return [next, size * part];
      part /= 3;
    }
    return [at, 0];
  }

  function searched(log, at, cell, rounds) {
    let found = solved(log, at, cell);
    for (let i = 0; i < rounds; i++) {
      const [next, size] = stepped(log, at, found);
      at = next; found = solved(log, at, cell);
      if (size < 0.02) break;
    }
    return [at, found];
  }

  // the posterior of some outings: every cell of the grid with its weight
  function learned(outings) {
    const log = logOf(outings), usual = P.cells.find((c) => c.model === 1 && c.spread === 1 && c.leaves === 1);
    const shared = off(new Array(log.kinds.length).fill(0), log.kinds, usual);
    const own = log.hangs.map((h) => off(new Array(h.kinds.length).fill(0), h.kinds, usual));
    const [at, best] = searched(log, { shared, own, lines: linear(log, shared, own) }, usual, 8);
    const cells = new Map([[usual, best], ...P.cells.filter((c) => c !== usual).map((c) => [c, solved(log, at, c)])]);
    const done = new Set([usual]);
    for (let i = 0; i < 2; i++) {
      const top = Math.max(...[...cells.values()].map((f) => f.evidence));
      const near = [...cells.keys()].filter((c) => !done.has(c) && cells.get(c).evidence > top + Math.log(0.01));
      for (const c of near) { cells.set(c, searched(log, at, c, 2)[1]); done.add(c); }
    }
    const list = [...cells.values()], top = Math.max(...list.map((f) => f.evidence));
    const weights = list.map((f) => Math.exp(f.evidence - top)), sum = weights.reduce((a, b) => a + b, 0);
    return { log, cells: list, weights: weights.map((w) => w / sum), usual: list[0] };
  }

  function hiddenAt(posterior, found, o) { // mean and covariance of an outing's hidden values in one cell
    const { log } = posterior, h = log.names.indexOf(`${o.place}|${o.hang}`), G = found.mean.length;
    let { mean, covariance } = found;
    const places = new Map(log.shared);
    if (h >= 0 && found.lines[h].target.length) {
      const { root, shared, own } = found.lines[h], H = log.hangs[h].kinds.length;
      const back = [...turned(shared), ...turned(own)].map((c) => solve(root, c)), columns = turned(own);
      const byShared = columns.map((c) => back.slice(0, G).map((b) => dot(c, b))), byOwn = columns.map((c) => back.slice(G).map((b) => dot(c, b)));
      const across = byShared.map((r) => covariance.map((c) => -dot(r, c)));
      const inner = across.map((r) => byShared.map((s) => -dot(r, s)));
      covariance = [...covariance.map((r, i) => [...r, ...across.map((a) => a[i])]),
        ...across.map((a, i) => [...a, ...Array.from({ length: H }, (_, j) => (i === j ? 1 : 0) - byOwn[i][j] + inner[i][j])])];
      mean = [...mean, ...found.own[h]];
      for (const [key, i] of log.hangs[h].own) places.set(key, G + i);
    }
    const index = keysOf(o).map((key) => places.get(key) ?? -1);
    return [index.map((i) => (i < 0 ? 0 : mean[i])),
      index.map((i, a) => index.map((j, b) => (i < 0 || j < 0 ? (a === b ? 1 : 0) : covariance[i][j])))];
  }

  // relative shift of every band's dip at an outing, its sd, and by how much |reflection| differs there
  function predicted(posterior, o) {
    const rows = D.bands.map((_, b) => { const [dip, size] = slopes(o.setting, o.picked, b);
      return [[...dip, ...LAYERS.flatMap((l) => P.mixing[l][b])], size]; });
    const each = posterior.cells.map((found, c) => {
      if (posterior.weights[c] < 1e-4) return null;
      const [mean, covariance] = hiddenAt(posterior, found, o), x = off(mean, KINDS, found.cell), steep = slopeOf(mean, KINDS, found.cell);
      const moved = rows.map(([dip]) => dip.map((v, i) => v * steep[i])), back = moved.map((m) => covariance.map((r) => dot(r, m)));
      return { shift: rows.map(([dip]) => dot(dip, x)), size: rows.map(([, s]) => dot(s, x.slice(0, COUNT))),
        across: moved.map((m) => back.map((q) => dot(m, q))), x, covariance, steep, moved };
    });
    const total = posterior.weights.reduce((s, w, c) => s + (each[c] ? w : 0), 0);
    const mix = (of) => posterior.weights.reduce((s, w, c) => s + (each[c] ? w * of(each[c]) / total : 0), 0);
    const shift = D.bands.map((_, b) => mix((e) => e.shift[b])), size = D.bands.map((_, b) => mix((e) => e.size[b]));
    const sd = D.bands.map((_, b) => Math.sqrt(Math.max(0, mix((e) => e.across[b][b] + e.shift[b] ** 2) - shift[b] ** 2)));
    return { shift, size, sd, each };
  }

  // values by how much they explain of the shifts of the dips read: [index, standard deviations off, shift a band], most first
  function causes(posterior, o) {
    const [mean] = hiddenAt(posterior, posterior.usual, o), x = off(mean, KINDS, posterior.usual.cell);
    const by = P.values.map((_, i) => o.dips.map((d) => slopes(o.setting, o.picked, d.band)[0][i] * x[i]));
    const size = by.map((r) => r.reduce((s, v) => s + Math.abs(v), 0));
    return P.values.map((_, i) => i).sort((a, b) => size[b] - size[a]).map((i) => ({ index: i, x: x[i], shifts: by[i] }));
  }

  // what to read or measure next, by how much it narrows all dips (nats), most first
  function nextSteps(posterior, o) {
    const { each } = predicted(posterior, o), best = posterior.weights.indexOf(Math.max(...posterior.weights)), e = each[best];
    const before = e.across.map((r, b) => r[b]), steps = [];
    const gain = (after) => before.reduce((s, v, b) => s + Math.log(v / Math.max(after[b], 1e-16)) / 2, 0);
    D.bands.forEach((_, b) => {
      if (o.dips.some((d) => d.band === b)) return;
      steps.push({ read: b, gain: gain(before.map((v, k) => v - e.across[k][b] ** 2 / (before[b] + P.error.dip ** 2))) });
    });
    for (const what of new Set(P.values.map((v) => v.measure).filter(Boolean))) {
      const which = P.values.map((v, i) => i).filter((i) => P.values[i].measure === what && P.values[i].left < 1);
      if (!which.length) continue;
      const root = cholesky(which.map((i) => which.map((j) => e.steep[i] * e.covariance[i][j] * e.steep[j] + (i === j ? P.values[i].left ** 2 : 0))));
      const after = before.map((v, b) => {
        const across = which.map((i) => e.steep[i] * dot(e.covariance[i], e.moved[b])), white = forward(root, across);
        return v - dot(white, white);
      });
      steps.push({ measure: what, gain: gain(after) });
    }
    return steps.sort((a, b) => b.gain - a.gain);
  }

  // ---- stops: the same steps as pocket/stops.py -------------------------------------------------------------------------

  const known = new Map();
  function nominalCurves(setting, picked) { // |reflection| at the radio as typed, kept
    const name = JSON.stringify([setting, picked]);
    if (!known.has(name)) {
      if (known.size > 400) known.clear();
      const curves = radio(reflection(setting, picked), setting, picked);
      known.set(name, { curves, readings: curves.map((g, b) => {
        const r = readings(D.bands[b], grid[b], g);
        return { dip: r.dip, size: r.dip === null ? 0 : (r.swr - 1) / (r.swr + 1) };
      }) });
    }
    return known.get(name);
  }
  const nominal = (setting, picked) => nominalCurves(setting, picked).readings;

  // |reflection| at f (MHz) with the band's dip shifted by a ratio and |reflection| there more by `more`
  function shiftedSize(b, curve, base, f, shift, more) {
    const x = grid[b], n = x.length, t = clip((f * Math.exp(-shift) - x[0]) / (x[1] - x[0]), 0, n - 1);
    const first = clip(Math.floor(t) - 1, 0, n - 4), u = t - first, y = [0, 1, 2, 3].map((i) => curve[first + i] ** 2);
    const square = -y[0] * (u - 1) * (u - 2) * (u - 3) / 6 + y[1] * u * (u - 2) * (u - 3) / 2 - y[2] * u * (u - 1) * (u - 3) / 2 + y[3] * u * (u - 1) * (u - 2) / 6;
    const least = base * base, there = clip(base + more, 0, 0.999) ** 2;
    return Math.sqrt(clip(square + (there - least) * (1 - square) / (1 - least), 0, 0.9998));
  }

  const PLACES = 9, LEVELS = 61;
  const normals = Array.from({ length: LEVELS }, (_, i) => ndtri((i + 0.5) / LEVELS));
  function worstIn(segment, at, shift, more) { // greatest SWR across a segment
    const { curves, readings: read } = at, b = segment.band;
    let most = 0;
    for (let i = 0; i < PLACES; i++) {
      const f = segment.lower + (segment.upper - segment.lower) * i / (PLACES - 1);
      most = Math.max(most, shiftedSize(b, curves[b], read[b].size, f, shift, more));
    }
    return swr(most);
  }

  function fewest(matrix, level) { // rows that serve every column that can be served: fewest, then lowest worst, then lowest sum
    const columns = matrix[0].map((_, j) => j).filter((j) => matrix.some((r) => r[j] <= level));
    let best = null;
    function more(chosen, size) {
      const open = columns.find((j) => !chosen.some((i) => matrix[i][j] <= level));
      if (open === undefined) {
        const each = columns.map((j) => Math.min(...chosen.map((i) => matrix[i][j]))), worst = Math.max(...each), sum = each.reduce((a, v) => a + v, 0);
        if (!best || worst < best.worst - 1e-12 || (worst < best.worst + 1e-12 && sum < best.sum - 1e-12)) best = { chosen: [...chosen].sort((a, b) => a - b), worst, sum };
        return;
      }
      if (chosen.length === size) return;
      for (let i = 0; i < matrix.length; i++) if (matrix[i][open] <= level) more([...chosen, i], size);
    }
    for (let size = 1; columns.length && !best; size++) more([], size);
    return best ? best.chosen : [];
  }

  // stops for the segments wanted, with what was learned: turns (or metres) out, what each serves, its chance
  function stops(posterior, o) {
    const { shift, size, sd } = predicted(posterior, o);
    const places = P.stops.map((s) => nominalCurves({ ...o.setting, [P.along]: s.metres }, o.picked));
    const matrix = places.map((at) => P.segments.map((s) => worstIn(s, at, shift[s.band], size[s.band])));
    const chosen = fewest(matrix, P.threshold), served = P.segments.map((_, j) => {
      const can = chosen.filter((i) => matrix[i][j] <= P.threshold);
      return can.length ? can.reduce((a, i) => (matrix[i][j] < matrix[a][j] ? i : a)) : null;
    });
    const works = (i, which) => normals.filter((q) => which.every((j) => {
      const s = P.segments[j];
      return worstIn(s, places[i], shift[s.band] + q * sd[s.band], size[s.band]) <= P.threshold;
    })).length / LEVELS;
    const best = P.segments.map((_, j) => matrix.reduce((a, r, i) => (r[j] < matrix[a][j] ? i : a), 0));
    const list = chosen.map((i) => { // of the stops that serve what this one does, the likeliest
      const which = P.segments.map((_, j) => j).filter((j) => served[j] === i), worst = (k) => Math.max(...which.map((j) => matrix[k][j]));
      let top = null;
      matrix.forEach((r, k) => {
        if (!which.every((j) => r[j] <= P.threshold)) return;
        const one = { stop: k, segments: which, worst: worst(k), chance: works(k, which) };
        if (!top || one.chance > top.chance + 1e-9 || (one.chance > top.chance - 1e-9 && one.worst < top.worst)) top = one;
      });
      return top;
    });
    const segments = P.segments.map((_, j) => {
      const of = list.find((s) => s.segments.includes(j)), i = of ? of.stop : best[j];
      return { stop: i, served: Boolean(of), swr: matrix[i][j], chance: works(i, [j]) };
    });
    return { matrix, segments, list };
  }

  return { Z, grid, lagrange, blend, number, reflection, radio, swr, readings, shapesOf, shape, glow, between, fitted, ndtr, ndtri,
    slopes, learned, predicted, causes, nextSteps, nominalCurves, shiftedSize, stops };
};
if (typeof module !== "undefined") module.exports = tautwireCore;
