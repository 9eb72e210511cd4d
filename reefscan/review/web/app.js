"use strict";
/* The page as a whole: one recipe, one table, one chosen site; everything on screen follows from them. */
const App = { chosen: null, adding: false, every: false, order: [], rankOf: [] };
App.say = (text) => { document.getElementById("status").textContent = text; };
App.band = function () {
  const t = App.recipe.score.terms.depth, f = App.recipe.find;
  if (!t || t.weight === 0 || !t.required) return [f.depth_min_m, f.depth_max_m];
  return [Number.isFinite(t.a) ? t.a : f.depth_min_m, Number.isFinite(t.d) ? t.d : f.depth_max_m];
};
App.label = (i) => Picks.name(App.table.columns.id[i]) || App.table.columns.id[i];
App.update = function () {
  const t0 = performance.now();
  App.scored = Reef.scoreTable(App.table, App.recipe.score);
  App.order = Reef.rankSites(App.table, App.scored, App.recipe.rank);
  App.rankOf = new Array(App.table.n).fill(0);
  App.order.forEach((i, k) => { App.rankOf[i] = k + 1; });
  App.shown();
  if (App.chosen !== null && !document.getElementById("card").hidden) Card.fill();
  App.lastMs = performance.now() - t0;
};
App.later = function () {
  if (App.waiting) return;
  App.waiting = true;
  requestAnimationFrame(() => { App.waiting = false; App.update(); });
};
App.shown = function () { List.fill(); Picks.fill(); App.draw(); };
App.draw = function () {
  if (App.drawing) return;
  App.drawing = true;
  requestAnimationFrame(() => { App.drawing = false; SeaMap.draw(); });
};
App.marks = function (most) {
  const c = App.table.columns;
  const marks = App.order.slice(0, most).map((i) => ({ id: c.id[i], px: c.px[i], py: c.py[i], kind: c.kind[i], score: App.scored.score[i], label: String(App.rankOf[i]), state: Picks.state(c.id[i]) }));
  const i = App.rowOf.get(App.chosen);
  if (i !== undefined && !marks.some((m) => m.id === App.chosen)) marks.push({ id: App.chosen, px: c.px[i], py: c.py[i], kind: c.kind[i], score: App.scored.score[i], label: App.label(i), state: Picks.state(App.chosen) });
  for (const p of Picks.added.values()) { const [px, py] = App.place(p.lon, p.lat); marks.push({ id: p.id, px, py, kind: "man-made", score: 0, label: p.name || p.id, state: p.state }); }
  return marks;
};
/* Picture pixel of a position: Newton steps on the lattice. */
App.place = function (lon, lat) {
  const p = App.data.picture;
  let x = p.width / 2, y = p.height / 2;
  for (let k = 0; k < 20; k++) {
    const [a, b] = SeaMap.lonlat(x, y), [ax, bx] = SeaMap.lonlat(x + 1, y), [ay, by] = SeaMap.lonlat(x, y + 1);
    const e = ((lon - a + 540) % 360) - 180, f = lat - b, det = (ax - a) * (by - b) - (ay - a) * (bx - b);
    if (!det) break;
    x += (e * (by - b) - f * (ay - a)) / det;
    y += (f * (ax - a) - e * (bx - b)) / det;
  }
  return [x, y];
};
App.choose = function (id, how) {
  App.chosen = id;
  const i = App.rowOf.get(id), hand = Picks.added.get(id);
  if (how && how.show) { const [px, py] = i !== undefined ? [App.table.columns.px[i], App.table.columns.py[i]] : hand ? App.place(hand.lon, hand.lat) : [0, 0]; SeaMap.goTo(px, py); }
  App.tab("card", how && !how.fromMap && !how.step);
  List.fill();
  App.draw();
};
App.step = function (by) {
  if (!App.order.length) return;
  const i = App.rowOf.get(App.chosen), k = i === undefined ? -1 : App.rankOf[i] - 1;
  const next = (k + by + App.order.length) % App.order.length;
  App.choose(App.table.columns.id[App.order[k < 0 && by < 0 ? App.order.length - 1 : next]], { show: true, step: true });
  App.say("Site " + (App.rankOf[App.rowOf.get(App.chosen)]) + ": " + App.label(App.rowOf.get(App.chosen)));
};
App.tabs = ["sites", "card", "recipe", "picks"];
App.tab = function (name, focus) {
  for (const t of App.tabs) {
    const on = t === name, b = document.getElementById("tab-" + t);
    document.getElementById(t).hidden = !on;
    b.setAttribute("aria-selected", String(on));
    b.tabIndex = on ? 0 : -1;
  }
  if (name === "card") Card.fill();
  if (name === "picks") Picks.fill();
  if (focus) document.getElementById(name).focus({ preventScroll: true });
};
App.legend = function () {
  const box = document.getElementById("legend"), night = document.body.classList.contains("night");
  box.replaceChildren();
  for (const k of Object.keys(App.data.kinds)) {
    if (!App.table.columns.kind.includes(k)) continue;
    const c = make("canvas", { width: 22, height: 22, "aria-hidden": "true" });
    SeaMap.mark(c.getContext("2d"), { kind: k, score: 75, id: "", state: "" }, 11, 11, 7, night);
    box.append(make("span", {}, c, App.data.kinds[k].words));
  }
  box.append(make("span", {}, "Darker mark = better score; ring = kept, cross = dropped. " + (App.data.limits || "")));
  for (const n of App.data.notes) box.append(make("span", {}, "Note: " + n));
};
App.data_ = async function () {
  const el = document.getElementById("data"), text = el.textContent;
  if (text.startsWith("gzip64:")) {
    const bytes = Uint8Array.from(atob(text.slice(7)), (c) => c.charCodeAt(0));
    const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"));
    return JSON.parse(await new Response(stream).text());
  }
  return JSON.parse(text);
};
App.start = async function () {
  App.data = await App.data_();
  document.getElementById("data").remove();
  App.table = App.data.table;
  if (!App.table.columns.feature_id) App.table.columns.feature_id = App.table.columns.id;
  Reef.prepare(App.table);
  App.rowOf = new Map(App.table.columns.id.map((id, i) => [id, i]));
  App.recipe = Reef.readRecipe(App.data.recipe);
  Picks.start();
  List.start();
  SeaMap.start();
  const kept = (k, v) => { try { if (v === undefined) return localStorage.getItem("reefscan-" + k); localStorage.setItem("reefscan-" + k, v); } catch { /* storage is forbidden: the choice lasts as long as the page */ } return null; };
  const unit = document.getElementById("unit"), night = document.getElementById("night");
  const dark = (on) => { document.body.classList.toggle("night", on); document.documentElement.style.background = on ? "#000" : ""; night.setAttribute("aria-pressed", String(on)); App.legend(); App.draw(); if (App.chosen !== null) Card.fill(); kept("night", on ? "1" : "0"); };
  unit.onchange = () => { Words.unit = unit.value; kept("unit", unit.value); Controls.fill(); App.shown(); Card.fill(); };
  night.onclick = () => dark(!document.body.classList.contains("night"));
  document.getElementById("every").onchange = (e) => { App.every = e.target.checked; App.draw(); };
  App.tabs.forEach((t, k) => {
    const b = document.getElementById("tab-" + t);
    b.onclick = () => App.tab(t);
    b.onkeydown = (e) => { const by = { ArrowRight: 1, ArrowLeft: -1 }[e.key]; if (by) { const n = App.tabs[(k + by + 4) % 4]; App.tab(n); document.getElementById("tab-" + n).focus(); } };
  });
  const saved = kept("unit") || App.data.unit;
  if (Words.per[saved]) { unit.value = saved; Words.unit = saved; }
  Controls.fill();
  App.update();
  Card.fill();
  dark(kept("night") === "1");
  document.getElementById("picture").decode().then(App.draw, App.draw);
  document.body.dataset.ready = "1";
};
App.start().catch((e) => { document.getElementById("status").textContent = "The page could not start: " + e.message; });
