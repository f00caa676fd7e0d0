"use strict";
(() => {
  const D = JSON.parse(document.getElementById("data").textContent), T = D.texts, P = D.pocket;
  const core = tautwireCore(D), $ = (id) => document.getElementById(id);
  const fill = (text, values) => text.replace(/\{(\w+)\}/g, (_, k) => values[k]);
  const el = (tag, attributes = {}, ...children) => {
    const e = document.createElement(tag);
    for (const [k, v] of Object.entries(attributes)) k === "onclick" ? e.addEventListener("click", v) : e.setAttribute(k, v);
    e.append(...children);
    return e;
  };

  // ---- what the phone keeps ---------------------------------------------------------------------------------------

  const FILE = "tautwire-log.json", LOG = "tautwire-log", UNITS = "tautwire-units", PLACE = "tautwire-place";
  function recall(name, otherwise) {
    try { return JSON.parse(localStorage.getItem(name)) ?? otherwise; } catch { return otherwise; }
  }
  function keep(name, value) {
    try { localStorage.setItem(name, JSON.stringify(value)); return true; } catch { return false; }
  }

  const state = {
    setting: Object.fromEntries(D.sliders.map((s) => [s.path, s.start])), picked: D.choices.map((c) => c.start),
    place: recall(PLACE, P.place), feet: recall(UNITS, D.feet), band: null, aim: "mhz", typed: {}, entries: recall(LOG, []),
  };
  const along = D.sliders.find((s) => s.path === P.along);
  const today = () => new Date(Date.now() - new Date().getTimezoneOffset() * 60000).toISOString().slice(0, 10);

  // ---- numbers ----------------------------------------------------------------------------------------------------

  function metres(m) {
    if (!state.feet) return Math.abs(m) >= 1 ? `${m.toFixed(2)} m` : `${(m * 100).toFixed(0)} cm`;
    const inches = Math.round(Math.abs(m) / 0.0254), feet = Math.floor(inches / 12);
    return `${m < 0 ? "−" : ""}${feet ? `${feet} ft ` : ""}${inches % 12} in`;
  }
  const turnsOut = (m) => (D.reel ? core.between(D.reel.metres, D.reel.turns, m) : null);
  const plain = (x) => String(+x.toFixed(1));
  const signed = (x, places = 0) => (+x.toFixed(places) === 0 ? "0" : (x > 0 ? "+" : "−") + Math.abs(x).toFixed(places));
  const place = (stop) => (stop.turns === null ? metres(stop.metres) : plain(stop.turns));

  // "13.92", "13,92", "1392" or "13920" as MHz near a band; NaN if it is none
  function megahertz(text, b) {
    const clean = text.trim().replace(",", "."), band = D.bands[b], middle = Math.sqrt(band.lower * band.upper);
    if (!/^\d+(\.\d*)?$/.test(clean)) return NaN;
    let f = +clean;
    if (!clean.includes(".")) while (f > 2 * middle) f /= 10;
    return Math.abs(Math.log(f / middle)) < 0.3 ? f : NaN;
  }
  function swrOf(text) {
    const clean = text.trim().replace(",", ".");
    return /^\d+(\.\d*)?$/.test(clean) && +clean >= 1 && +clean < 100 ? +clean : NaN;
  }
  const digitsOf = (b) => (text) => { // puts the point where the band has it: 1392 is 13.92
    const whole = String(Math.floor(D.bands[b].lower)).length;
    return /^\d+$/.test(text) && text.length > whole ? `${text.slice(0, whole)}.${text.slice(whole)}` : text;
  };

  // ---- outings ----------------------------------------------------------------------------------------------------

  const hangOf = (day, setting, picked) => `${day} ${JSON.stringify([Object.entries(setting).filter(([k]) => k !== P.along), picked])}`;

  function put(tables, path, value) { // a copy of nested tables with one value changed
    const [first, ...rest] = path.split("."), list = Array.isArray(tables), copy = list ? [...tables] : { ...tables };
    const key = list ? +first - 1 : first;
    copy[key] = rest.length ? put(copy[key] ?? {}, rest.join("."), value) : value;
    return copy;
  }
  function take(tables, path) {
    return path.split(".").reduce((t, k) => (t === undefined ? t : Array.isArray(t) ? t[+k - 1] : t[k]), tables);
  }
  const written = (s, v) => { const n = +v.toPrecision(9); return P.units[s.path] ? `${n} ${P.units[s.path]}` : n; };
  function tablesAt(setting, picked) {
    return D.sliders.reduce((t, s) => put(t, s.path, written(s, setting[s.path])), P.raws[core.number(picked)]);
  }
  const sorted = (v) => (v && typeof v === "object" && !Array.isArray(v) ? Object.fromEntries(Object.keys(v).sort().map((k) => [k, sorted(v[k])])) : Array.isArray(v) ? v.map(sorted) : v);

  function outingOf(entry) { // null for another set-up than this page's
    const { log, ...tables } = entry;
    for (let n = 0; n < P.raws.length; n++) {
      let rest = n;
      const picked = [...D.choices].reverse().map((c) => { const i = rest % c.names.length; rest = Math.floor(rest / c.names.length); return i; }).reverse();
      const setting = Object.fromEntries(D.sliders.map((s) => [s.path, parseFloat(take(tables, s.path))]));
      if (Object.values(setting).some((v) => !Number.isFinite(v))) return null;
      if (JSON.stringify(sorted(tablesAt(setting, picked))) !== JSON.stringify(sorted(tables))) continue;
      if (D.sliders.some((s) => setting[s.path] < s.low - 1e-6 || setting[s.path] > s.high + 1e-6)) return null;
      const dips = (log.dips ?? []).map((d) => ({ band: D.bands.findIndex((b) => b.name === d.band), f: parseFloat(d.frequency), swr: d.swr })).filter((d) => d.band >= 0);
      return { place: log.place, hang: hangOf(log.date, setting, picked), setting, picked, dips, date: log.date };
    }
    return null;
  }

  // readings of now: those typed, each at the setting it was typed at
  function typed() {
    const groups = new Map();
    for (const [b, r] of Object.entries(state.typed)) {
      const key = JSON.stringify([r.setting, r.picked]);
      if (!groups.has(key)) groups.set(key, { setting: r.setting, picked: r.picked, dips: [] });
      groups.get(key).dips.push({ band: +b, f: r.f, swr: r.swr });
    }
    return [...groups.values()].map((g) => ({ ...g, place: state.place, hang: hangOf(today(), g.setting, g.picked) }));
  }
  const past = () => state.entries.map(outingOf).filter(Boolean);
  const here = () => ({ place: state.place, hang: hangOf(today(), state.setting, state.picked), setting: state.setting, picked: state.picked,
    dips: typed().filter((o) => o.hang === hangOf(today(), state.setting, state.picked)).flatMap((o) => o.dips) });

  let known = null, knownFor = "";
  function posterior() {
    const outings = [...past(), ...typed()], key = JSON.stringify([outings, state.place]);
    if (key !== knownFor) { known = core.learned(outings); knownFor = key; }
    return known;
  }

  // ---- Where ------------------------------------------------------------------------------------------------------

  function shown(s) {
    const v = state.setting[s.path];
    if (s.unit === "m") {
      const turns = s.path === P.along ? turnsOut(v) : null;
      return turns === null ? metres(v) : `${fill(T.out, { turns: plain(turns) })}, ${metres(v)}`;
    }
    return `${+v.toFixed(Math.max(0, -Math.floor(Math.log10(s.step) + 1e-9)))}${s.unit === "°" ? "°" : s.unit && ` ${s.unit}`}`;
  }
  function move(s, v) {
    state.setting[s.path] = Math.min(Math.max(+v.toFixed(9), s.low), s.high);
    show();
  }
  D.sliders.forEach((s, i) => {
    const input = $(`s${i}`), turns = s.path === P.along && P.stops[0].turns !== null;
    Object.assign(input, { min: s.low, max: s.high, value: s.start });
    const snap = (v) => (turns ? P.stops.reduce((a, c) => (Math.abs(c.metres - v) < Math.abs(a - v) ? c.metres : a), P.stops[0].metres) : Math.round(v / s.step) * s.step);
    input.addEventListener("input", () => move(s, snap(+input.value)));
    [["l", -1, T.less], ["m", 1, T.more]].forEach(([id, way, words]) => {
      $(`${id}${i}`).setAttribute("aria-label", fill(words, { what: s.label }));
      $(`${id}${i}`).addEventListener("click", () => {
        const now = state.setting[s.path];
        if (!turns) return move(s, (Math.round(now / s.step) + way) * s.step);
        const next = P.stops.map((p) => p.metres).filter((m) => (way > 0 ? m > now + 1e-6 : m < now - 1e-6));
        if (next.length) move(s, way > 0 ? Math.min(...next) : Math.max(...next));
      });
    });
  });
  D.choices.forEach((c, i) => {
    $(`c${i}`).addEventListener("change", (e) => { state.picked = state.picked.map((p, k) => (k === i ? +e.target.value : p)); show(); });
  });
  $("place").addEventListener("change", (e) => { state.place = e.target.value.trim() || P.place; keep(PLACE, state.place); show(); });
  $("feet").addEventListener("click", () => { state.feet = !state.feet; keep(UNITS, state.feet); show(); });

  function table(head, rows) {
    return el("table", {}, el("thead", {}, el("tr", {}, ...head.map((h) => el("th", { scope: "col" }, h)))),
      el("tbody", {}, ...rows.map(([first, ...cells]) => el("tr", {}, el("th", { scope: "row" }, first), ...cells.map((c) => el("td", {}, c))))));
  }
  function dipRows(ahead, o) {
    const base = core.nominalCurves(o.setting, o.picked).readings;
    return D.bands.map((b, k) => {
      const f = base[k].dip;
      if (f === null) return [b.name, T.no_dip, "", "", ""];
      return [b.name, (f * Math.exp(ahead.shift[k])).toFixed(3), f.toFixed(3), signed(f * Math.expm1(ahead.shift[k]) * 1e3), (f * ahead.sd[k] * 1e3).toFixed(0)];
    });
  }

  // ---- Measured ---------------------------------------------------------------------------------------------------

  D.bands.forEach((b, k) => {
    $("bands").append(el("button", { type: "button", role: "radio", "aria-checked": "false", onclick: () => choose(k) }, b.name));
  });
  $("bands").addEventListener("keydown", (e) => {
    const way = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[e.key];
    if (!way) return;
    e.preventDefault();
    choose(((state.band ?? -way) + way + D.bands.length) % D.bands.length);
    $("bands").children[state.band].focus();
  });
  function choose(k) {
    state.band = k; state.aim = "mhz";
    const r = state.typed[k];
    $("mhz").value = r ? r.text : ""; $("read-swr").value = r?.swr ?? "";
    $("fault").textContent = "";
    show();
  }
  ["mhz", "read-swr"].forEach((id) => {
    $(id).addEventListener("focus", () => { state.aim = id; aim(); });
    $(id).addEventListener("input", read);
  });
  const aim = () => ["mhz", "read-swr"].forEach((id) => $(id).classList.toggle("aim", id === state.aim && state.band !== null));
  $("pad").addEventListener("click", (e) => {
    const key = e.target.dataset.key;
    if (!key) return;
    if (state.band === null) { $("fault").textContent = T.which_band; return; }
    const input = $(state.aim), text = input.value;
    if (key === "back") input.value = text.slice(0, -1).replace(/\.$/, "");
    else if (key !== "." || !text.includes(".")) input.value = text + key;
    if (state.aim === "mhz") input.value = digitsOf(state.band)(input.value);
    read();
  });

  function read() {
    const b = state.band, text = $("mhz").value;
    $("fault").textContent = "";
    if (b === null) { $("fault").textContent = T.which_band; return; }
    const f = megahertz(text, b), said = $("read-swr").value, swr = said ? swrOf(said) : null;
    const digits = text.replace(/\D/g, "").length, whole = String(Math.floor(D.bands[b].lower)).length;
    if (Number.isNaN(f) || digits < whole + 2) {
      delete state.typed[b];
      if (text && digits >= whole + 2) $("fault").textContent = fill(T.bad_number, { text, band: D.bands[b].name, example: D.bands[b].lower.toFixed(3) });
    } else {
      if (Number.isNaN(swr) && said !== "0") $("fault").textContent = fill(T.bad_swr, { text: said });
      state.typed[b] = { f, swr: Number.isNaN(swr) ? null : swr, text, setting: { ...state.setting }, picked: [...state.picked] };
    }
    show();
  }

  function turn(stop) { // from where the wire is to a stop
    const now = state.setting[P.along];
    const inOut = stop.turns === null ? stop.metres - now : stop.turns - turnsOut(now), size = Math.abs(inOut);
    if (size < (stop.turns === null ? 0.02 : 0.25)) return T.answer_stay;
    if (stop.turns === null) return fill(inOut < 0 ? T.answer_length_in : T.answer_length_out, { n: metres(size) });
    const n = plain(Math.round(size * 2) / 2);
    if (n === "1") return inOut < 0 ? T.answer_in_one : T.answer_out_one;
    return fill(inOut < 0 ? T.answer_in : T.answer_out, { n });
  }
  const percent = (chance) => (chance >= 0.995 ? ">99" : chance < 0.005 ? "<1" : (100 * chance).toFixed(0));

  function showMeasured() {
    D.bands.forEach((_, k) => {
      const button = $("bands").children[k], on = k === state.band;
      button.setAttribute("aria-checked", String(on));
      button.tabIndex = on || (state.band === null && !k) ? 0 : -1;
      button.classList.toggle("read", Boolean(state.typed[k]));
    });
    aim();
    const o = here(), known = posterior(), answer = $("answer");
    if (!Object.keys(state.typed).length || (state.band !== null && !state.typed[state.band])) {
      answer.textContent = T.answer_empty;
      $("after").replaceChildren();
      if (!Object.keys(state.typed).length) return;
    }
    const found = core.stops(known, o), b = state.band, limit = P.threshold;
    const first = P.segments.findIndex((s) => s.band === b), now = state.typed[b];
    if (now && first >= 0) {
      const s = found.segments[first], segment = P.segments[first].name;
      answer.replaceChildren(el("b", {}, turn(P.stops[s.stop])), fill(s.served ? T.answer_for : T.answer_hopeless,
        { segment, chance: percent(s.chance), limit, swr: s.swr.toFixed(1) }));
      const base = core.nominalCurves(now.setting, now.picked).readings[b];
      if (base.dip !== null && Math.abs(Math.log(now.f / base.dip)) > 0.05) {
        $("fault").textContent = fill(T.far, { read: now.f.toFixed(3), band: D.bands[b].name, model: base.dip.toFixed(3) });
      } else if (known.usual.misfit > misfitLimit(known)) $("fault").textContent = T.misfit;
    }
    const stops = found.list.map((s) => el("li", {}, fill(T.stop_line, { where: place(P.stops[s.stop]), turn: turn(P.stops[s.stop]),
      segments: s.segments.map((j) => P.segments[j].name).join(", "), swr: s.worst.toFixed(1), chance: percent(s.chance) })));
    const none = P.segments.filter((_, j) => !found.segments[j].served).map((s) => s.name).join(", ");
    $("after").replaceChildren(
      el("h2", {}, T.stops_title), el("ul", {}, ...stops), ...(none ? [el("p", {}, fill(T.not_served, { limit, segments: none }))] : []),
      el("h2", {}, T.wanted_title), table([T.segment, T.turn, T.at_stop, T.worst, T.chance], found.segments.map((s, j) => [P.segments[j].name,
        turn(P.stops[s.stop]), place(P.stops[s.stop]), s.swr > 20 ? ">20" : s.swr.toFixed(1), percent(s.chance)])),
      el("h2", {}, T.others_title), table([T.band, T.dip, T.typed, T.moved, T.sure], dipRows(core.predicted(known, o), o)),
      ...(now ? [el("button", { type: "button", onclick: () => { delete state.typed[b]; choose(b); } }, T.forget)] : []));
  }
  // chi squared that one in a thousand reaches, by Wilson and Hilferty's cube (1931, from memory)
  function misfitLimit(known) {
    const n = Math.max(1, known.usual.lines.reduce((s, l) => s + l.target.length, 0));
    return n * (1 - 2 / (9 * n) + 3.0902 * Math.sqrt(2 / (9 * n))) ** 3;
  }

  // dips below SWR 3 of a sweep file of one port (Touchstone)
  function sweepDips(text) {
    let unit = 1e9, form = "MA", rows = [];
    for (const raw of text.split(/\r?\n/)) {
      const line = raw.split("!")[0].trim();
      if (line.startsWith("#")) {
        const words = line.slice(1).trim().toUpperCase().split(/\s+/);
        unit = { HZ: 1, KHZ: 1e3, MHZ: 1e6, GHZ: 1e9 }[words.find((w) => /HZ$/.test(w))] ?? 1e9;
        form = words.find((w) => ["MA", "DB", "RI"].includes(w)) ?? "MA";
        if (!words.includes("S")) return null;
      } else if (line) {
        const [f, a, b] = line.split(/\s+/).map(Number);
        if (![f, a, b].every(Number.isFinite)) return null;
        rows.push([f * unit / 1e6, form === "RI" ? Math.hypot(a, b) : form === "DB" ? 10 ** (a / 20) : a]);
      }
    }
    if (rows.length < 3) return null;
    const out = [];
    for (let i = 1; i < rows.length - 1; i++) {
      const [y0, y1, y2] = [rows[i - 1][1], rows[i][1], rows[i + 1][1]];
      if (y1 > y0 || y1 >= y2 || y1 > 0.5) continue;
      const bend = y0 - 2 * y1 + y2, shift = bend > 0 ? (y0 - y2) / (2 * bend) : 0;
      out.push([rows[i][0] + shift * (rows[i + 1][0] - rows[i - 1][0]) / 2, core.swr(Math.min(y1, 0.9999))]);
    }
    return out;
  }
  $("sweep").addEventListener("change", async (e) => {
    const file = e.target.files[0], dips = file && sweepDips(await file.text());
    if (!file) return;
    if (!dips) { $("fault").textContent = fill(T.sweep_bad, { name: file.name }); return; }
    let last = null;
    D.bands.forEach((b, k) => {
      const off = (f) => Math.max(b.lower - f, f - b.upper, 0);
      const near = dips.filter(([f]) => f >= b.own[0] && f < b.own[1]).sort((x, y) => off(x[0]) - off(y[0]) || x[1] - y[1])[0];
      if (!near) return;
      state.typed[k] = { f: +near[0].toFixed(4), swr: +near[1].toFixed(3), text: near[0].toFixed(3), setting: { ...state.setting }, picked: [...state.picked] };
      last ??= k;
    });
    if (last === null) $("fault").textContent = fill(T.sweep_none, { name: file.name });
    else choose(last);
  });

  // ---- Why --------------------------------------------------------------------------------------------------------

  function amount(v, x) {
    if (v.law === "factor") { const p = 100 * Math.expm1(v.sd * x); return `${Math.abs(p).toFixed(0)} % ${p > 0 ? T.cause_more : T.cause_less}`; }
    const si = v.sd * x, way = si > 0 ? T.cause_more : T.cause_less;
    if (v.unit === "m") return `${metres(Math.abs(si))} ${way}`;
    return `${+(Math.abs(si) * v.factor).toPrecision(2)}${v.unit === "°" ? "°" : ` ${v.unit}`} ${way}`;
  }
  function showWhy() {
    const box = $("why"), now = here(), before = past().filter((p) => p.place === state.place);
    const o = now.dips.length ? now : before[before.length - 1];
    if (!o || !o.dips.length) {
      box.replaceChildren(el("p", {}, T.why_none), ...next(now));
      return;
    }
    const known = posterior(), base = core.nominalCurves(o.setting, o.picked).readings;
    const list = core.causes(known, o).slice(0, 3).map((c) => {
      const v = P.values[c.index], shifts = o.dips.map((d, i) => `${D.bands[d.band].name} ${signed((base[d.band].dip ?? d.f) * c.shifts[i] * 1e3)} kHz`).join(", ");
      return el("li", {}, el("b", {}, v.name), fill(T.why_line, { name: "", amount: ` ${amount(v, c.x)}`, shifts }).replace(/^: /, ":"));
    });
    const last = before.filter((p) => p !== o).pop(), lines = [];
    if (last) {
      const was = core.nominalCurves(last.setting, last.picked).readings;
      const changes = o.dips.map((d) => { const other = last.dips.find((x) => x.band === d.band);
        return other && base[d.band].dip && was[d.band].dip ? fill(T.why_last_change, { band: D.bands[d.band].name,
          khz: signed(d.f * (Math.log(d.f / base[d.band].dip) - Math.log(other.f / was[d.band].dip)) * 1e3) }) : null; }).filter(Boolean).join(", ");
      if (changes) lines.push(el("p", {}, `${fill(T.why_last, { date: last.date, changes })} ${T.why_last_same}`));
    }
    box.replaceChildren(el("h2", {}, T.why_title), el("ol", {}, ...list), el("p", { class: "quiet" }, T.why_model), ...lines, ...next(o));
  }
  function next(o) {
    const step = core.nextSteps(posterior(), o)[0];
    if (!step || step.gain < 0.05) return [];
    const what = step.read === undefined ? step.measure : fill(T.next_read, { band: D.bands[step.read].name });
    return [el("h2", {}, T.next_title), el("p", { id: "next" }, fill(T.next_line, { what: what[0].toUpperCase() + what.slice(1), share: (100 * (1 - Math.exp(-step.gain / D.bands.length))).toFixed(0) }))];
  }

  // ---- Log --------------------------------------------------------------------------------------------------------

  const random = () => Array.from(crypto.getRandomValues(new Uint8Array(5)), (b) => b.toString(16).padStart(2, "0")).join("");
  const asFile = (entries) => JSON.stringify({ tautwire_log: 2, entries }, null, 1);
  const say = (text) => { $("said").textContent = text; };

  $("keep").addEventListener("click", () => {
    const outings = typed();
    if (!outings.length) return say(T.nothing_to_keep);
    for (const o of outings) {
      const turns = turnsOut(o.setting[P.along]), log = { format: 2, id: random(), written: new Date().toISOString(), place: o.place, date: today(), study: P.study,
        dips: o.dips.map((d) => ({ band: D.bands[d.band].name, frequency: `${+d.f.toFixed(6)} MHz`, ...(d.swr ? { swr: d.swr } : {}) })),
        ...(turns === null ? {} : { turns: [{ turns: +turns.toFixed(3) }] }), ...($("note").value.trim() ? { note: $("note").value.trim() } : {}) };
      state.entries.push({ log, ...tablesAt(o.setting, o.picked) });
    }
    state.typed = {};
    $("note").value = "";
    say(keep(LOG, state.entries) ? T.kept : T.not_kept);
    choose(state.band);
  });
  $("save").addEventListener("click", () => {
    const link = el("a", { href: URL.createObjectURL(new Blob([asFile(state.entries)], { type: "application/json" })), download: FILE });
    document.body.append(link); link.click(); link.remove();
    setTimeout(() => URL.revokeObjectURL(link.href), 10000);
  });
  const shared = () => new File([asFile(state.entries)], FILE, { type: "application/json" });
  try { $("share").hidden = !navigator.canShare?.({ files: [shared()] }); } catch { $("share").hidden = true; }
  $("share").addEventListener("click", () => navigator.share({ files: [shared()] }).catch(() => {}));
  $("copy").addEventListener("click", async () => {
    try { await navigator.clipboard.writeText(asFile(state.entries)); } catch { $("text").closest("details").open = true; $("text").select(); document.execCommand("copy"); }
    say(T.copied);
  });
  $("open").addEventListener("change", async (e) => {
    const file = e.target.files[0];
    if (!file) return;
    try {
      const told = JSON.parse(await file.text()), good = (x) => x?.log?.id && x.log.place && x.log.date;
      if (told.tautwire_log !== 2 || !told.entries.every(good)) throw new Error();
      const had = new Set(state.entries.map((x) => x.log.id)), fresh = told.entries.filter((x) => !had.has(x.log.id));
      state.entries.push(...fresh);
      state.entries.sort((a, b) => (a.log.date + a.log.written < b.log.date + b.log.written ? -1 : 1));
      say(`${fill(T.added, { n: fresh.length })} ${keep(LOG, state.entries) ? "" : T.not_kept}`);
    } catch { say(fill(T.log_bad, { name: file.name })); }
    show();
  });
  function showLog() {
    const others = state.entries.length - past().length;
    $("history").replaceChildren(...(state.entries.length ? [...state.entries].reverse().map((x) => {
      const dips = (x.log.dips ?? []).map((d) => `${d.band} ${d.frequency}${d.swr ? `, SWR ${d.swr}` : ""}`).join("; ");
      const where = (x.log.turns ?? []).map((t) => fill(T.out, { turns: plain(t.turns) })).join();
      return el("li", {}, el("span", {}, `${x.log.date} ${x.log.place}: ${[where, dips, x.log.note].filter(Boolean).join("; ")}`), el("button", { type: "button",
        "aria-label": fill(T.remove, { date: x.log.date }), onclick: () => { state.entries = state.entries.filter((y) => y !== x); keep(LOG, state.entries); show(); } }, "×"));
    }) : [el("li", {}, T.history_none)]), ...(others ? [el("li", {}, fill(T.history_others, { n: others }))] : []));
    $("text").value = state.entries.length ? asFile(state.entries) : "";
    const last = state.entries[state.entries.length - 1];
    $("qr").replaceChildren();
    if (last) {
      try {
        const code = qrcode(0, "L");
        code.addData(unescape(encodeURIComponent(JSON.stringify({ tautwire_log: 2, entries: [last] }))), "Byte");
        code.make();
        $("qr").innerHTML = code.createSvgTag({ cellSize: 4, margin: 16, scalable: true, title: T.qr });
      } catch { /* too long for a code: the text has it */ }
    }
  }

  // ---- Curves -----------------------------------------------------------------------------------------------------

  function showCurves() {
    const o = here(), { curves, readings } = core.nominalCurves(o.setting, o.picked), ahead = core.predicted(posterior(), o), top = 10;
    $("plots").replaceChildren(...D.bands.map((b, k) => {
      const W = 320, H = 150, X = (f) => 28 + (f - b.low) / (b.high - b.low) * (W - 34), Y = (s) => H - 20 - Math.log(Math.min(s, top)) / Math.log(top) * (H - 28);
      const path = (of) => Array.from(core.grid[k], (f, m) => `${m ? "L" : "M"}${X(f).toFixed(1)} ${Y(core.swr(of(f, m))).toFixed(1)}`).join("");
      const learned = (f) => core.shiftedSize(k, curves[k], readings[k].size, f, ahead.shift[k], ahead.size[k]);
      const dip = readings[k].dip === null ? null : readings[k].dip * Math.exp(ahead.shift[k]);
      const label = dip === null ? `${b.name}: ${T.no_dip}` : fill(T.dip_label, { band: b.name, dip: dip.toFixed(3), swr: core.swr(learned(dip)).toFixed(2) });
      const lines = [1, 1.5, 2, 3, 5].map((s) => `<path class="${s === 2 ? "level" : "grid"}" d="M28 ${Y(s)}H${W - 6}"/><text class="soft" x="24" y="${Y(s) + 4}" text-anchor="end">${s}</text>`).join("");
      const marks = [b.lower, b.upper].map((f, i) => `<text class="soft" x="${X(f)}" y="${H - 4}" text-anchor="${i ? "start" : "end"}">${+f.toFixed(3)}</text>`).join("");
      const box = el("div", {}, el("h3", {}, label));
      box.insertAdjacentHTML("beforeend", `<svg viewBox="0 0 ${W} ${H}" role="img"><rect class="inside" x="${X(b.lower)}" y="8" width="${Math.max(X(b.upper) - X(b.lower), 2)}" height="${H - 28}"/>${lines}${marks}<path class="held" d="${path((f, m) => curves[k][m])}"/><path class="curve" d="${path(learned)}"/></svg>`);
      box.lastChild.setAttribute("aria-label", label);
      return box;
    }));
  }

  // ---- screens ----------------------------------------------------------------------------------------------------

  const tabs = [...document.querySelectorAll("[role=tab]")];
  let screen = "where";
  function open(name) {
    screen = name;
    for (const t of tabs) {
      const on = t.id === `tab-${name}`;
      t.setAttribute("aria-selected", String(on)); t.tabIndex = on ? 0 : -1;
      $(t.getAttribute("aria-controls")).hidden = !on;
    }
    window.scrollTo(0, 0);
    show();
  }
  tabs.forEach((t, i) => {
    t.addEventListener("click", () => open(t.getAttribute("aria-controls")));
    t.addEventListener("keydown", (e) => {
      const to = { ArrowRight: i + 1, ArrowLeft: i - 1, Home: 0, End: tabs.length - 1 }[e.key];
      if (to === undefined) return;
      e.preventDefault();
      const tab = tabs[(to + tabs.length) % tabs.length];
      open(tab.getAttribute("aria-controls")); tab.focus();
    });
  });

  function show() {
    $("feet").setAttribute("aria-pressed", String(state.feet));
    if ($("place") !== document.activeElement) $("place").value = state.place;
    D.sliders.forEach((s, i) => { $(`o${i}`).textContent = shown(s); $(`s${i}`).value = state.setting[s.path]; $(`s${i}`).setAttribute("aria-valuetext", shown(s)); });
    D.choices.forEach((_, i) => { $(`c${i}`).value = state.picked[i]; });
    if (screen === "where") {
      const o = here();
      $("now").replaceChildren(...table([T.band, T.dip, T.typed, T.moved, T.sure], dipRows(core.predicted(posterior(), o), o)).children);
    } else if (screen === "measured") showMeasured();
    else if (screen === "why") showWhy();
    else if (screen === "log") showLog();
    else if (screen === "curves") showCurves();
  }
  const e = D.errors;
  $("trust").textContent = e.words ?? fill(T.errors, { swr: e.swr.toPrecision(1), below: e.below, n: e.settings });
  window.pocket = { state, core, posterior, here, typed, past, show, D };
  open("where");
})();
