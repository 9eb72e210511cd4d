"use strict";
/* The score, the confidence and the order of sites: the same formula as reefscan/scoring.py and
   reefscan/ranking.py, digit for digit. tests/browser compares the two on random recipes.
   Columns are plain arrays; null is unknown. */
const Reef = {};

/* share of a slowly changing error that the difference of two near depths keeps */
Reef.SLOW = 0.2;
Reef.TOPS_LOST = 0.13;
Reef.NOT_THERE = 0.05;
Reef.S44 = { exclusive: [0.15, 0.0075], special: [0.25, 0.0075], "1a": [0.5, 0.013], "1b": [0.5, 0.013], "2": [1.0, 0.023] };
Reef.Z95 = 1.959963984540054;

Reef.known = (x) => typeof x === "number" && !Number.isNaN(x);

Reef.trapezoid = function (x, a, b, c, d, half) {
  if (!Reef.known(x)) return NaN;
  if (x < a || x > d) return 0;
  let mu = 1;
  if (Number.isFinite(a) && b > a && x < b) mu = Number.isFinite(b) ? (x - a) / (b - a) : 0;
  if (Number.isFinite(d) && d > c && x > c) mu = Number.isFinite(c) ? (d - x) / (d - c) : 0;
  if (half > 0) mu = mu * (Math.max(x, 0) / (Math.max(x, 0) + half));
  return mu;
};

/* Half to even, as numpy's rint. */
Reef.rint = function (v) {
  const low = Math.floor(v), rest = v - low;
  if (rest < 0.5) return low;
  if (rest > 0.5) return low + 1;
  return low % 2 === 0 ? low : low + 1;
};

/* Whole millionths, then half to even in integers. */
Reef.roundMillionths = function (millionths, decimals) {
  const step = 10 ** (6 - decimals);
  let q = Math.floor(millionths / step);
  const r = millionths - q * step;
  if (2 * r > step || (2 * r === step && Math.abs(q % 2) === 1)) q += 1;
  return q / 10 ** decimals;
};

/* erfc: series below 3, continued fraction above; good to 1e-13. */
Reef.erfc = function (x) {
  const z = Math.abs(x);
  let value;
  if (z < 3) {
    let term = z, sum = z;
    for (let n = 1; n < 200; n++) {
      term *= (2 * z * z) / (2 * n + 1);
      sum += term;
      if (term < sum * 1e-17) break;
    }
    value = 1 - (2 / Math.sqrt(Math.PI)) * Math.exp(-z * z) * sum;
  } else {
    let f = 0;
    for (let n = 60; n > 0; n--) f = n / 2 / (z + f);
    value = Math.exp(-z * z) / Math.sqrt(Math.PI) / (z + f);
  }
  return x >= 0 ? value : 2 - value;
};
Reef.phi = (z) => 0.5 * Reef.erfc(-z / Math.SQRT2);

/* Terms in use on this table: name, term, column, and membership of every row. */
Reef.memberships = function (table, score) {
  const n = table.n, kinds = table.columns.kind, out = [], dropped = [];
  for (const [name, term] of Object.entries(score.terms)) {
    if (term.weight === 0) continue;
    const applies = kinds.map((k) => !term.kinds.length || term.kinds.includes(k));
    if (!applies.some(Boolean)) continue;
    const x = table.columns[term.column];
    let any = false;
    if (x) for (let i = 0; i < n && !any; i++) any = applies[i] && Reef.known(x[i]);
    if (!any) { dropped.push(name); continue; }
    const mu = new Float64Array(n), state = new Uint8Array(n); /* 0 does not apply, 1 known, 2 unknown */
    for (let i = 0; i < n; i++) {
      if (!applies[i]) { mu[i] = NaN; continue; }
      mu[i] = Reef.trapezoid(x[i], term.a, term.b, term.c, term.d, term.half);
      state[i] = Number.isNaN(mu[i]) ? 2 : 1;
    }
    out.push({ name, term, mu, state });
  }
  return { used: out, dropped };
};

Reef.scoreTable = function (table, score) {
  const n = table.n, { used, dropped } = Reef.memberships(table, score);
  const parts = used.filter((u) => !u.term.bonus && !u.term.penalty);
  const bonuses = used.filter((u) => u.term.bonus), penalties = used.filter((u) => u.term.penalty);
  const points = new Float64Array(n), shown = new Float64Array(n), confidence = new Float64Array(n), listed = new Uint8Array(n), doubted = new Uint8Array(n);
  const thresholds = Reef.thresholds(score), cols = table.columns;
  for (let i = 0; i < n; i++) {
    let total = 0, logs = 0, ok = true;
    for (const { term, mu, state } of parts) {
      if (state[i] === 0) continue;
      let m = state[i] === 2 ? score.unknown : mu[i];
      if (term.required) { if (m === 0) { ok = false; m = 1; } }
      else m = Math.max(m, score.optional_floor);
      total += term.weight;
      logs += term.weight * Math.log(m);
    }
    let value = 100 * Math.exp(logs / (total > 0 ? total : 1));
    for (const { term, mu, state } of bonuses) value = value + (100 - value) * term.weight * (state[i] === 1 ? mu[i] : 0);
    let kept = 1;
    for (const { term, mu, state } of penalties) {
      const m = state[i] === 2 ? score.unknown : state[i] === 1 ? mu[i] : 1, share = 1 - term.weight * (1 - m);
      value = value * share;
      kept = kept * share;
    }
    if (!ok) value = 0;
    points[i] = Reef.rint(value * 1e6);
    shown[i] = Reef.roundMillionths(points[i], 1);
    doubted[i] = ok && kept < score.least_kept ? 1 : 0;
    listed[i] = ok && !doubted[i] ? 1 : 0;
    confidence[i] = Reef.confidence(cols, i, thresholds, score.s44_order);
  }
  return { points, score: shown, confidence, listed, doubted, used, dropped };
};

Reef.thresholds = function (score) {
  const out = {};
  for (const kind of ["trough", "ledge", "rise", "man-made"]) {
    out[kind] = NaN;
    for (const term of Object.values(score.terms)) {
      if (term.column === "height_m" && term.weight > 0 && (!term.kinds.length || term.kinds.includes(kind))) {
        out[kind] = Number.isFinite(term.a) ? term.a : NaN;
        break;
      }
    }
  }
  return out;
};

Reef.confidence = function (cols, i, thresholds, order) {
  const at = (name) => (cols[name] && Reef.known(cols[name][i]) ? cols[name][i] : NaN);
  const height = at("height_m"), own = at("height_sigma_m");
  const threshold = thresholds[cols.kind[i]];
  let single = at("uncertainty_m");
  if (!(single > 0)) {
    const [a, b] = Reef.S44[order], depth = Math.max(at("depth_m"), 0);
    single = Math.sqrt(a * a + (b * depth) ** 2) / Reef.Z95;
  }
  const filled = at("interpolated") || 0;
  let sigma = Math.SQRT2 * single;
  if (own > 0) sigma = Math.sqrt(own ** 2 + 2 * Reef.SLOW ** 2 * Math.max(0, single ** 2 - (at("noise_m") || 0) ** 2));
  const p = Reef.phi((height * (1 + Reef.TOPS_LOST * filled) - threshold) / sigma) * (1 - Reef.NOT_THERE * filled);
  return Number.isNaN(p) ? NaN : Reef.roundMillionths(Reef.rint(p * 1e6), 2);
};

/* WGS 84, earth-centred metres (EPSG:7030). */
Reef.onEllipsoid = function (lon, lat) {
  const a = 6378137.0, e2 = (1 / 298.257223563) * (2 - 1 / 298.257223563);
  const lam = (lon * Math.PI) / 180, phi = (lat * Math.PI) / 180;
  const n = a / Math.sqrt(1 - e2 * Math.sin(phi) ** 2);
  return [n * Math.cos(phi) * Math.cos(lam), n * Math.cos(phi) * Math.sin(lam), n * (1 - e2) * Math.sin(phi)];
};

/* Chord between two places, summed in the order that numpy sums it. */
Reef.apart = function (p, q) {
  const x = p[0] - q[0], y = p[1] - q[1], z = p[2] - q[2];
  return Math.sqrt(x * x + y * y + z * z);
};

Reef.prepare = function (table) {
  table.xyz = table.columns.lon.map((lon, i) => Reef.onEllipsoid(lon, table.columns.lat[i]));
  const ids = table.columns.id.map((id, i) => [id, i]).sort((p, q) => (p[0] < q[0] ? -1 : p[0] > q[0] ? 1 : 0));
  table.idOrder = new Float64Array(table.n);
  ids.forEach(([, i], place) => { table.idOrder[i] = place; });
};

/* Rows in rank order. */
Reef.rankSites = function (table, scored, rank) {
  const conf = scored.confidence, pts = scored.points;
  const known = (v) => (v === undefined || v === null || Number.isNaN(v) ? -1 : v);
  const size = (name, i) => (table.columns[name] ? known(table.columns[name][i]) : -1);
  let order = [];
  for (let i = 0; i < table.n; i++) if (scored.listed[i] && pts[i] > 0) order.push(i);
  order.sort((i, j) => pts[j] - pts[i] || known(conf[j]) - known(conf[i]) || size("height_m", j) - size("height_m", i)
    || size("length_m", j) - size("length_m", i) || table.idOrder[i] - table.idOrder[j]);
  if (rank.second_share < 1) {
    const taken = new Map(), worth = Array.from(pts), feature = table.columns.feature_id;
    for (const i of order) {
      const name = feature && feature[i], p = table.xyz[i];
      if (!name) continue;
      const of = taken.get(name);
      if (!of) taken.set(name, [p]);
      else if (of.every((q) => Reef.apart(p, q) >= rank.feature_m)) of.push(p);
      else worth[i] *= rank.second_share;
    }
    order.sort((i, j) => worth[j] - worth[i]); // of equals the one that came first stays first
  }
  if (!(rank.spacing_m > 0)) return order.slice(0, rank.top);
  const s = rank.spacing_m, cells = new Map(), taken = [];
  const key = (a, b, c) => a + "," + b + "," + c;
  for (const i of order) {
    const p = table.xyz[i], c = p.map((v) => Math.floor(v / s));
    let near = false;
    for (let a = -1; a <= 1 && !near; a++) for (let b = -1; b <= 1 && !near; b++) for (let d = -1; d <= 1 && !near; d++) {
      for (const j of cells.get(key(c[0] + a, c[1] + b, c[2] + d)) || []) {
        if (Reef.apart(p, table.xyz[j]) < s) { near = true; break; }
      }
    }
    if (near) continue;
    taken.push(i);
    if (taken.length >= rank.top) break;
    const k = key(...c);
    if (cells.has(k)) cells.get(k).push(i); else cells.set(k, [i]);
  }
  return taken;
};

/* Recipes travel as JSON with "inf" and "-inf" as words. */
Reef.corner = (v) => (v === "inf" ? Infinity : v === "-inf" ? -Infinity : v);
Reef.readRecipe = function (recipe) {
  const out = JSON.parse(JSON.stringify(recipe));
  for (const term of Object.values(out.score.terms)) for (const k of ["a", "b", "c", "d", "half"]) term[k] = Reef.corner(term[k]);
  return out;
};

Reef.toml = function (recipe) {
  const value = (v) => {
    if (typeof v === "number") return v === Infinity ? "inf" : v === -Infinity ? "-inf" : String(v);
    if (typeof v === "boolean") return v ? "true" : "false";
    if (Array.isArray(v)) return "[" + v.map(value).join(", ") + "]";
    return JSON.stringify(String(v)).replace(/\u007f/g, "\\u007f");
  };
  const lines = ["# Saved from the review page. Lengths are metres, depths positive down.", "version = 1"];
  const part = (head, fields, skip) => {
    lines.push("", "[" + head + "]");
    for (const [k, v] of Object.entries(fields)) if (k !== skip) lines.push(k + " = " + value(v));
  };
  part("find", recipe.find);
  part("score", recipe.score, "terms");
  for (const [name, term] of Object.entries(recipe.score.terms)) part("score.terms." + (/^[A-Za-z0-9_-]+$/.test(name) ? name : value(name)), term);
  part("rank", recipe.rank);
  if (recipe.around) part("around", recipe.around);
  return lines.join("\n") + "\n";
};
