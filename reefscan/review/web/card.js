"use strict";
/* One site: the bottom as a sounder would draw it on that heading, a small map, terms, reason, position. */
const Card = {};
Card.fill = function () {
  const box = document.getElementById("card"), id = App.chosen;
  box.replaceChildren();
  if (id === null) { box.append(make("p", {}, App.table.n ? "Choose a site in the list or on the map." : "This run found no site.")); return; }
  const hand = Picks.added.get(id), i = App.rowOf.get(id);
  if (hand) return Card.hand(box, hand);
  if (i === undefined) return;
  const cols = App.table.columns, at = (k) => (cols[k] ? cols[k][i] : null);
  box.append(make("h2", {}, (App.rankOf[i] ? App.rankOf[i] + ". " : "") + App.label(i)));
  const conf = App.scored.confidence[i];
  box.append(make("p", {}, at("kind") + ", score " + App.scored.score[i].toFixed(1) + " of 100" + (Number.isNaN(conf) ? "" : ", " + Words.sure(conf) + " sure it is as high as asked") + (App.rankOf[i] ? "" : App.scored.listed[i] ? "; not listed: too near a better one, or below the cut" : App.scored.doubted[i] ? "; not listed: its penalties leave too little of it" : "; not listed: a required term is worth nothing")));
  if (at("why")) box.append(make("p", {}, at("why")));
  const flags = at("flags") || [];
  if (flags.length) box.append(make("p", { class: "caution" }, "Mind: " + flags.map((f) => f.replace(/-/g, " ")).join("; ")));
  box.append(Card.steps(), Card.profile(i), Card.mini(i));
  box.append(make("h3", {}, "Measures"), make("dl", {}, Card.facts(i).flatMap(([k, v]) => [make("dt", {}, k), make("dd", {}, v)])));
  box.append(make("h3", {}, "What made the score"), Card.terms(i));
  box.append(make("h3", {}, "Position (WGS 84)"), Card.position(at("lat"), at("lon")));
  box.append(Picks.form(id, { name: App.label(i), lon: at("lon"), lat: at("lat"), depth_m: at("depth_m"), kind: at("kind") }));
};
Card.steps = () => make("div", { class: "actions" },
  make("button", { type: "button", onclick: () => App.step(-1) }, "Previous"), make("button", { type: "button", onclick: () => App.step(1) }, "Next"));
Card.hand = function (box, p) {
  box.append(make("h2", {}, p.name || p.id), make("p", {}, "Set by hand; " + (Reef.known(p.depth_m) ? "depth " + Words.depth(p.depth_m) : "no depth is known here: sound it first") + "."));
  box.append(make("h3", {}, "Position (WGS 84)"), Card.position(p.lat, p.lon), Picks.form(p.id, p));
};
Card.widths = { trough: "Width, crest to crest", ledge: "Width of its face", rise: "Width, foot to foot" };
Card.facts = function (i) {
  const c = App.table.columns, at = (k) => (c[k] ? c[k][i] : null), out = [["Depth", Words.depth(at("depth_m"))]];
  if (Reef.known(at("uncertainty_m"))) out[0][1] += " ± " + Words.depth(at("uncertainty_m"), 1) + " (1 σ)";
  out[0][1] += ", " + App.data.datum.short;
  const add = (k, label, f) => Reef.known(at(k)) && out.push([label, f(at(k))]);
  add("height_m", "Height of the structure", (v) => Words.depth(v, 1));
  if (Reef.known(at("drop_m")) && Reef.known(at("run_m"))) out.push(["Falls", Words.depth(at("drop_m"), 1) + " in " + Words.length(at("run_m"))]);
  add("steep_deg", "Gradient of its face", Words.steep);
  add("width_m", Card.widths[at("kind")] || "Width", Words.length);
  add("off_m", "Distance to the rock", (v) => (Words.lost(v, at("position_m")) ? "within the doubt of the position" : Words.length(v)) + (v < at("lands_within_m") ? ": may land on the rock" : ""));
  add("contrast", "Stands out from what is around, 0 to 1", (v) => v.toFixed(2));
  add("cross_deg", "Heading across it", (v) => Words.degrees(v) + " / " + Words.degrees((v + 180) % 360) + " true");
  add("axis_deg", "Runs along", (v) => Words.degrees(v) + " / " + Words.degrees((v + 180) % 360) + " true");
  add("facing_deg", "Falls away toward", (v) => Words.degrees(v) + " true");
  add("slope_deg", "Slope of the floor", Words.steep);
  add("lands_within_m", "A net lands within about", Words.length);
  add("cell_m", "Cells of the grid", (v) => v + " m");
  if (at("source")) out.push(["From", at("source")]);
  out.push(["Id", at("id")]);
  return out;
};
Card.terms = function (i) {
  const t = make("table", {}, make("tr", {}, make("th", { scope: "col" }, "Term"), make("th", { scope: "col" }, "Worth"), make("th", { scope: "col", class: "n" }, "0 to 1"), make("th", { scope: "col", class: "n" }, "Weight")));
  for (const u of App.scored.used) {
    if (u.state[i] === 0) continue;
    const known = u.state[i] === 1, mu = known ? u.mu[i] : App.recipe.score.unknown;
    const bar = make("div", { class: "bar", "aria-hidden": "true" }, make("i", { style: "width:" + (mu * 100).toFixed(1) + "%" }));
    t.append(make("tr", {}, make("td", {}, u.name.replace(/_/g, " "), u.term.required ? " (required)" : ""), make("td", {}, bar), make("td", { class: "n" }, known ? mu.toFixed(2) : "unknown"), make("td", { class: "n" }, String(+u.term.weight.toFixed(3)))));
  }
  if (App.scored.dropped.length) t.append(make("tr", {}, make("td", { colspan: "4", class: "quiet" }, "Not known anywhere in this run and left out: " + App.scored.dropped.join(", "))));
  return t;
};
Card.position = function (lat, lon) {
  const box = make("div", {});
  for (const [label, f] of [["degrees", Words.dd], ["minutes", Words.ddm], ["seconds", Words.dms]]) {
    const text = f(lat, lon), code = make("code", {}, text);
    box.append(make("div", { class: "copy" }, code, make("button", { type: "button", "aria-label": "Copy position in " + label, onclick: () => Card.copy(code, text) }, "Copy")));
  }
  return box;
};
Card.copy = async function (code, text) {
  try { await navigator.clipboard.writeText(text); App.say("Copied " + text); }
  catch { const r = document.createRange(); r.selectNodeContents(code); const s = getSelection(); s.removeAllRanges(); s.addRange(r); App.say("Marked: press Ctrl+C to copy."); }
};
Card.profile = function (i) {
  const section = App.data.sections[i], row = section && section.depths, fig = make("figure", { style: "margin:8px 0" });
  if (!row || !row.some(Reef.known)) { fig.append(make("p", { class: "quiet" }, "No profile is stored for this site.")); return fig; }
  const W = 520, H = 230, L = 46, R = 8, T = 16, B = 34, half = section.half_m, n = row.length, known = row.filter(Reef.known);
  const band = App.band(), deep = Math.max(...known, band[1] > Math.max(...known) * 2 ? 0 : band[1]) * 1.08, top = Math.max(-0.15 * deep, Math.min(0, ...known)); /* dry ground is cut off: it would squeeze the water */
  const x = (m) => L + ((m + half) / (2 * half)) * (W - L - R), y = (d) => T + ((d - top) / (deep - top)) * (H - T - B);
  const c = App.table.columns, heading = section.bearing;
  const depth = c.depth_m[i];
  const words = "Bottom along heading " + Words.degrees(heading) + " true, " + Words.length(2 * half) + " long: " + Words.depth(Math.min(...known)) + " to " + Words.depth(Math.max(...known)) + ", drop point in the middle at " + Words.depth(depth) + Card.marked(section.marks) + ".";
  const s = svg("svg", { viewBox: "0 0 " + W + " " + H, role: "img", "aria-label": words });
  const text = (t, px, py, anchor, extra) => s.append(svg("text", { x: px, y: py, "text-anchor": anchor || "middle", "font-size": 12, fill: "var(--ink)", ...(extra || {}) }, t));
  const lo = Math.max(band[0], top), hi = Math.min(band[1], deep);
  if (hi > lo) { s.append(svg("rect", { x: L, y: y(lo), width: W - L - R, height: y(hi) - y(lo), fill: "var(--tint)" })); }
  for (const d of [lo, hi]) if (hi > lo) s.append(svg("line", { x1: L, x2: W - R, y1: y(d), y2: y(d), stroke: "var(--quiet)", "stroke-dasharray": "5 4" }));
  if (hi > lo) text("depth band", W - R - 4, y(lo) + 13, "end", { fill: "var(--quiet)" });
  let run = [], paths = [];
  row.forEach((d, k) => { if (Reef.known(d)) run.push([x(-half + (2 * half * k) / (n - 1)), y(Math.max(d, top))]); else if (run.length) { paths.push(run); run = []; } });
  if (run.length) paths.push(run);
  for (const p of paths) {
    s.append(svg("path", { d: "M" + p.map((q) => q.map((v) => v.toFixed(1)).join(" ")).join("L") + "L" + p[p.length - 1][0].toFixed(1) + " " + (H - B) + "L" + p[0][0].toFixed(1) + " " + (H - B) + "Z", fill: "var(--line)" }));
    s.append(svg("path", { d: "M" + p.map((q) => q.map((v) => v.toFixed(1)).join(" ")).join("L"), fill: "none", stroke: "var(--ink)", "stroke-width": 2.2 }));
  }
  for (const [m, what] of section.marks) {
    const d = row[Math.round(((m + half) / (2 * half)) * (n - 1))];
    if (Math.abs(m) > half || !Reef.known(d)) continue;
    s.append(svg("line", { class: "told", x1: x(m), x2: x(m), y1: y(Math.max(d, top)) - 16, y2: y(Math.max(d, top)) + 5, stroke: "var(--ink)", "stroke-width": 1.4 }));
    text(what, x(m), y(Math.max(d, top)) - 19, "middle", { "font-size": 11 });
  }
  if (Reef.known(depth)) {
    s.append(svg("path", { d: "M" + x(0) + " " + (y(depth) - 2) + "l-7 -13h14z", fill: "var(--paper)", stroke: "var(--ink)", "stroke-width": 2 }));
  }
  s.append(svg("line", { x1: L, x2: W - R, y1: y(0), y2: y(0), stroke: "var(--ink)" }));
  const step = Card.round((deep - top) / Words.per[Words.unit] / 4) * Words.per[Words.unit];
  for (let d = 0; d <= deep; d += step) { s.append(svg("line", { x1: L - 4, x2: L, y1: y(d), y2: y(d), stroke: "var(--ink)" })); text((d / Words.per[Words.unit]).toFixed(0), L - 7, y(d) + 4, "end"); }
  for (const m of [-half, 0, half]) text(m === 0 ? "drop point" : Words.length(Math.abs(m)), x(m), H - 18, m < 0 ? "start" : m > 0 ? "end" : "middle");
  text(Words.unit, 4, 12, "start");
  text("heading " + Words.degrees(heading) + " true →", (L + W - R) / 2, H - 3);
  fig.append(s, make("figcaption", { class: "quiet" }, words + " " + App.data.datum.top + " No rope is drawn."));
  return fig;
};
Card.marked = (marks) => marks.map(([m, what]) => ", " + what + " of the face at " + Words.length(Math.abs(m)) + (m < 0 ? " before it" : " beyond it")).join("");
Card.round = (v) => { const p = 10 ** Math.floor(Math.log10(Math.max(v, 1e-9))); return [1, 2, 5, 10].map((k) => k * p).find((k) => k >= v * 0.999); };
Card.mini = function (i) {
  const c = App.table.columns, canvas = make("canvas", { class: "mini", role: "img", "aria-label": "Small map around the site, " + Words.length(400) + " wide" });
  requestAnimationFrame(() => {
    const w = canvas.clientWidth || 320, h = 190, ratio = window.devicePixelRatio || 1, night = document.body.classList.contains("night");
    canvas.width = w * ratio; canvas.height = h * ratio;
    const g = canvas.getContext("2d"), scale = (w * App.data.picture.cell_m) / 400;
    g.setTransform(ratio, 0, 0, ratio, 0, 0);
    SeaMap.ground(g, { x: c.px[i] - w / 2 / scale, y: c.py[i] - h / 2 / scale, scale, w, h }, night);
    const section = App.data.sections[i];
    if (section) {
      const a = (section.bearing * Math.PI) / 180, r = (section.half_m * w) / 400;
      g.setLineDash([7, 4]); g.lineWidth = 2; g.strokeStyle = night ? "#ff8a7e" : "#14202b";
      g.beginPath(); g.moveTo(w / 2 - Math.sin(a) * r, h / 2 + Math.cos(a) * r); g.lineTo(w / 2 + Math.sin(a) * r, h / 2 - Math.cos(a) * r); g.stroke(); g.setLineDash([]);
    }
    SeaMap.mark(g, { kind: c.kind[i], score: App.scored.score[i], id: c.id[i], state: Picks.state(c.id[i]) }, w / 2, h / 2, 8, night);
  });
  return canvas;
};
