"use strict";
/* The recipe as sliders and numbers. What touches the raster ([find]) is shown and not changed here. */
const Controls = {};
Controls.heights = ["height_trough", "height_ledge", "height_rise"];
Controls.fill = function () {
  const box = document.getElementById("recipe"), r = App.recipe, t = r.score.terms, f = r.find;
  box.replaceChildren(make("p", { class: "quiet" }, "Move anything: the list and the map follow at once. The grid was searched from " + Words.depth(f.depth_min_m) + " to " + Words.depth(f.depth_max_m) + "; outside that, scan again."));
  const length = (id, words, get, set, o) => box.append(Controls.row(id, words + " (" + Words.unit + ")", () => get() / Words.per[Words.unit], (v) => set(v * Words.per[Words.unit]), { ...o, per: Words.per[Words.unit], min: o.min / Words.per[Words.unit], max: o.max / Words.per[Words.unit], step: Words.unit === "m" ? o.step : 0.5 }));
  const fin = (v, other) => (Number.isFinite(v) ? v : other);
  if (t.depth) {
    length("depth-min", "Shallowest depth", () => fin(t.depth.a, f.depth_min_m), (v) => Controls.depth(v, null), { min: f.depth_min_m, max: f.depth_max_m, step: 0.1, hard: true });
    length("depth-max", "Deepest depth", () => fin(t.depth.d, f.depth_max_m), (v) => Controls.depth(null, v), { min: f.depth_min_m, max: f.depth_max_m, step: 0.1, hard: true });
  }
  for (const name of Controls.heights) {
    if (!t[name]) continue;
    const kind = name.slice(7), floor = f[kind + "_min_m"];
    length(name, "Least height, " + kind, () => fin(t[name].a, floor), (v) => { const full = Math.max(1e-9, t[name].b - t[name].a); t[name].a = v; t[name].b = Number.isFinite(full) ? Controls.tidy(v + full) : t[name].b; Controls.order(t[name]); }, { min: floor, max: 8, step: 0.1, low: true });
  }
  length("spacing", "Spacing between sites", () => r.rank.spacing_m, (v) => (r.rank.spacing_m = v), { min: 0, max: 500, step: 5, open: true });
  box.append(Controls.row("top", "How many sites", () => r.rank.top, (v) => (r.rank.top = Math.max(1, Math.round(v))), { min: 1, max: Math.max(100, Math.min(App.table.n, 5000)), step: 1, open: true }));
  box.append(Controls.row("second", "What a second site of a ledge, trough or rise counts of its score in the order", () => r.rank.second_share, (v) => (r.rank.second_share = v), { min: 0, max: 1, step: 0.05 }));
  box.append(Controls.row("kept", "Hide doubtful sites that keep less than this share of their score", () => r.score.least_kept, (v) => (r.score.least_kept = v), { min: 0, max: 0.99, step: 0.05 }));
  box.append(make("h3", {}, "How much each thing counts"));
  for (const [name, term] of Object.entries(t)) {
    const soft = term.bonus || term.penalty;
    box.append(Controls.row("w-" + name, Words.term(name) + (term.required ? ": must be met" : soft ? (term.bonus ? ": can only raise" : ": can only lower") : ""), () => term.weight, (v) => (term.weight = v), { min: 0, max: soft ? 1 : 5, step: soft ? 0.05 : 0.1, open: !soft }));
    const corners = make("div", { class: "corners" });
    for (const k of ["a", "b", "c", "d", "half"]) {
      const input = make("input", { inputMode: "decimal", id: "c-" + name + "-" + k, value: Controls.say(term[k]) });
      input.addEventListener("change", () => Controls.corner(name, k, input));
      corners.append(make("label", {}, { a: "nothing below ", b: "full from ", c: "full to ", d: "nothing above ", half: "the more the better: half at " }[k], input));
    }
    box.append(make("details", {}, make("summary", {}, "Limits: " + Words.term(name)), make("p", { class: "quiet" }, (App.data.term_notes[name] ? App.data.term_notes[name] + ". " : "") + "In the recipe: " + name + ", judging " + term.column + ". Write - for no limit; half at 0 means off."), corners));
  }
  box.append(make("div", { class: "actions" },
    make("button", { type: "button", id: "saverecipe", onclick: () => download("recipe.toml", "application/toml", Reef.toml(App.recipe)) }, "Save recipe"),
    make("button", { type: "button", id: "resetrecipe", onclick: () => { App.recipe = Reef.readRecipe(App.data.recipe); Controls.fill(); App.later(); } }, "Back to the run's recipe")));
  box.append(make("p", { class: "quiet" }, "The saved file goes to “reefscan rescore”, which gives this very list."));
};
Controls.tidy = (v) => +v.toFixed(6);
Controls.say = (v) => (v === Infinity || v === -Infinity ? "-" : String(Controls.tidy(v)));
Controls.order = function (t) { t.b = Math.max(t.b, t.a); t.c = Math.max(t.c, t.b); t.d = Math.max(t.d, t.c); };
Controls.depth = function (low, high) {
  const t = App.recipe.score.terms.depth, f = App.recipe.find, fin = (v, o) => (Number.isFinite(v) ? v : o);
  let a = low ?? fin(t.a, f.depth_min_m), d = high ?? fin(t.d, f.depth_max_m);
  if (a >= d) { if (low !== null) a = d - 0.1; else d = a + 0.1; a = Math.max(a, f.depth_min_m); d = Math.min(d, f.depth_max_m); }
  a = Controls.tidy(a); d = Controls.tidy(d);
  Object.assign(t, { a, b: a, c: d, d });
};
Controls.corner = function (name, k, input) {
  const term = App.recipe.score.terms[name], words = input.value.trim();
  const value = words === "-" || words === "" ? (k === "half" ? 0 : k === "a" || k === "b" ? -Infinity : Infinity) : Number(words.replace(",", "."));
  const next = { ...term, [k]: value }, f = App.recipe.find;
  let bad = "";
  if (Number.isNaN(value)) bad = "“" + words + "” is not a number.";
  else if (k === "half" && value < 0) bad = "“Half at” is 0 (off) or more.";
  else if (!(next.a <= next.b && next.b <= next.c && next.c <= next.d)) bad = "The four limits must not fall from one to the next: " + ["a", "b", "c", "d"].map((q) => Controls.say(next[q])).join(", ") + ".";
  else if (term.column === "depth_m" && term.required && ((Number.isFinite(value) && (value < f.depth_min_m || value > f.depth_max_m)))) bad = Controls.outside();
  if (bad) { App.say(bad); input.value = Controls.say(term[k]); return; }
  term[k] = value;
  App.later();
};
Controls.outside = () => "Only " + Words.depth(App.recipe.find.depth_min_m) + " to " + Words.depth(App.recipe.find.depth_max_m) + " was searched: for other depths, scan again.";
/* A slider and a box for one number; the box may go beyond the slider unless the edge is hard. */
Controls.row = function (id, words, get, set, o) {
  const places = o.step >= 1 ? 0 : o.step >= 0.1 ? 1 : 2, other = o.per && o.per !== 1, show = () => String(+get().toFixed(other ? (get() >= 100 ? 0 : 1) : places + 1));
  const range = make("input", { type: "range", id: "r-" + id, min: String(o.min), max: String(o.max), step: "any", "aria-label": words });
  const box = make("input", { type: "number", id: "n-" + id, step: "any", "aria-label": words + ", typed" });
  const said = () => { box.value = show(); range.setAttribute("aria-valuetext", box.value); };
  range.value = get(); said();
  const take = (v) => { App.say(""); set(v); App.later(); };
  range.addEventListener("input", () => { const v = +(Math.round(range.value / o.step) * o.step).toFixed(6); take(Math.min(o.max, Math.max(o.min, v))); said(); });
  range.addEventListener("keydown", (e) => {
    const by = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1, PageUp: 10, PageDown: -10 }[e.key];
    if (!by) return;
    e.preventDefault();
    take(Math.min(o.max, Math.max(o.min, +(get() + by * o.step).toFixed(6))));
    range.value = get(); said();
  });
  box.addEventListener("change", () => {
    let v = parseFloat(box.value);
    const near = other ? (v >= 100 ? 0.5 : 0.05) : 1e-9; /* what is shown is rounded, and may be typed */
    for (const end of [o.min, o.max]) if (Math.abs(v - end) <= near) v = end;
    if (!Number.isFinite(v) || v < 0 || (!o.open && v > o.max + 1e-9) || ((o.hard || o.low) && v < o.min - 1e-9)) {
      App.say(o.hard ? Controls.outside() : o.low && v < o.min ? "The scan kept none that are lower: scan again with a smaller least height." : "Give a number from " + +o.min.toFixed(2) + " to " + +o.max.toFixed(2) + ".");
      box.value = show();
      return;
    }
    take(v);
    range.value = get(); said();
  });
  return make("div", { class: "row" }, make("label", { for: "r-" + id }, words), range, box);
};
