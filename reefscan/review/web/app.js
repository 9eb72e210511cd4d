"use strict";
/* The page as a whole: one recipe, one table, one chosen site; everything on screen follows from them. */
const App = { chosen: null, adding: false, every: false, order: [], rankOf: [], open: "sites" };
/* Said at the foot of the screen, where a thumb is; with a way back where there is one. */
App.say = function (text, undo) {
  document.getElementById("status").textContent = text;
  document.getElementById("undo").hidden = !text || !undo;
  document.getElementById("hush").hidden = !text;
  document.getElementById("bar").classList.toggle("up", Boolean(text));
};
/* Told to a screen reader alone: what an eye sees by itself. */
App.tell = (text) => { document.getElementById("told").textContent = text; };
/* Fills a box anew and leaves the focus where it was, so that a keyboard stays in its place. */
App.refill = function (box, fill) {
  const on = document.activeElement, inside = on !== box && box.contains(on);
  const key = inside && ["id", "data-pick", "data-step", "data-id"].find((k) => on.getAttribute(k)), value = key && on.getAttribute(key);
  fill();
  if (key) box.querySelector(":is(button, input, select)[" + key + '="' + CSS.escape(value) + '"]')?.focus({ preventScroll: true });
};
App.band = function () {
  const t = App.recipe.score.terms.depth, f = App.recipe.find;
  if (!t || t.weight === 0 || !t.required) return [f.depth_min_m, f.depth_max_m];
  return [Number.isFinite(t.a) ? t.a : f.depth_min_m, Number.isFinite(t.d) ? t.d : f.depth_max_m];
};
App.label = (i) => Picks.name(App.table.columns.id[i]) || App.table.columns.kind[i];
/* Why a site is one, in the unit chosen. */
App.why = (i) => (App.table.columns["why_" + Words.unit] || App.table.columns.why || [])[i] || "";
/* A site in a sentence. */
App.called = function (id) {
  const i = App.rowOf.get(id), named = Picks.name(id) || (i === undefined ? id : "");
  return named || (App.rankOf[i] ? "number " + App.rankOf[i] : App.table.columns.kind[i] + " that is not listed");
};
App.update = function () {
  const t0 = performance.now();
  App.scored = Reef.scoreTable(App.table, App.recipe.score);
  App.order = Reef.rankSites(App.table, App.scored, App.recipe.rank);
  App.rankOf = new Array(App.table.n).fill(0);
  App.near = null;
  App.order.forEach((i, k) => { App.rankOf[i] = k + 1; });
  App.shown();
  if (App.chosen !== null && !document.getElementById("card").hidden) Card.fill();
  App.lastMs = performance.now() - t0;
};
/* Second sites, with the rank of the better one of their place. */
App.seconds = () => (App.near = App.near || Waypoints.seconds());
/* The list as asked: all, or the best of each place. */
App.listed = () => (document.getElementById("scope").value === "best" ? App.order.filter((i) => !App.seconds().has(i)) : App.order);
App.later = function () {
  View.later();
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
  const marks = App.listed().slice(0, most).map((i) => ({ id: c.id[i], px: c.px[i], py: c.py[i], kind: c.kind[i], score: App.scored.score[i], label: String(App.rankOf[i]), state: Picks.state(c.id[i]) }));
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
  App.toTop("card");
  App.tell(App.called(id) + " is open.");
};
/* The top of a panel comes into view, below what stays. */
App.toTop = function (name) {
  const top = document.getElementById(name).getBoundingClientRect().top, style = getComputedStyle(document.documentElement);
  const stuck = parseFloat(style.scrollPaddingTop) || 0, phone = matchMedia("(max-width: 899px)").matches;
  if (phone || top < stuck || top > innerHeight * 0.7) scrollBy(0, top - stuck);
};
App.step = function (by) {
  if (!App.order.length) return;
  const i = App.rowOf.get(App.chosen), k = i === undefined ? -1 : App.rankOf[i] - 1;
  const next = (k + by + App.order.length) % App.order.length;
  App.choose(App.table.columns.id[App.order[k < 0 && by < 0 ? App.order.length - 1 : next]], { show: true, step: true });
};
App.tabs = ["sites", "card", "recipe", "picks"];
App.tab = function (name, focus) {
  for (const t of App.tabs) {
    const on = t === name, b = document.getElementById("tab-" + t);
    document.getElementById(t).hidden = !on;
    b.setAttribute("aria-selected", String(on));
    b.tabIndex = on ? 0 : -1;
  }
  App.open = name;
  View.later();
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
  const shut = App.data.closed && App.data.closed.areas.length ? " Framed and shaded = closed ground." : "";
  box.append(make("span", {}, (night ? "Brighter" : "Darker") + " mark = better score; ring = kept, cross = dropped." + shut + (night ? " Black" : " Pale with stripes") + " = not known. Figures on lines: depth in " + Words.unit + "."));
  box.append(make("span", {}, "Score: how well the place fits the recipe, 0 to 100. Sure: chance that it is as tall as the recipe asks."));
  box.append(make("span", {}, App.data.limits[Words.unit] || ""));
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
  Undo.start();
  Here.start();
  Awake.start();
  Print.start();
  App.head();
  View.start();
  Controls.fill();
  App.update();
  App.tab(App.open);
  Card.fill();
  App.dark(Store.get("night") === "1");
  document.getElementById("picture").decode().then(App.draw, App.draw);
  clearTimeout(View.waiting); View.waiting = null; /* nobody has done anything yet */
  document.body.dataset.ready = "1";
};
App.dark = function (on) {
  document.body.classList.toggle("night", on);
  document.documentElement.style.background = on ? "#000" : "";
  document.querySelector('meta[name="theme-color"]').content = on ? "#000000" : "#fdfcf8";
  document.getElementById("night").setAttribute("aria-pressed", String(on));
  App.legend();
  App.draw();
  if (App.chosen !== null) Card.fill();
};
/* Unit, night view, cautions (folded on a phone), tabs, and the line at the foot. */
App.head = function () {
  const unit = document.getElementById("unit"), saved = Store.get("unit") || App.data.unit, bar = document.getElementById("bar");
  if (Words.per[saved]) { unit.value = saved; Words.unit = saved; }
  unit.onchange = () => { Words.unit = unit.value; Store.set("unit", unit.value); Controls.fill(); App.legend(); App.shown(); Card.fill(); };
  document.getElementById("night").onclick = () => { App.dark(!document.body.classList.contains("night")); Store.set("night", document.body.classList.contains("night") ? "1" : "0"); };
  const narrow = matchMedia("(max-width: 899px)"), fold = () => { document.getElementById("cautions").open = !narrow.matches; };
  narrow.onchange = fold;
  fold();
  document.getElementById("every").onchange = (e) => { App.every = e.target.checked; App.draw(); };
  document.getElementById("hush").onclick = () => App.say("");
  new ResizeObserver(() => document.documentElement.style.setProperty("--foot", bar.offsetHeight + "px")).observe(bar);
  App.tabs.forEach((t, k) => {
    const b = document.getElementById("tab-" + t);
    b.onclick = () => { App.tab(t); App.toTop(t); };
    b.onkeydown = (e) => { const to = { ArrowRight: k + 1, ArrowLeft: k + 3, Home: 0, End: 3 }[e.key]; if (to !== undefined) { e.preventDefault(); App.tab(App.tabs[to % 4]); document.getElementById("tab-" + App.tabs[to % 4]).focus(); } };
  });
};
App.start().catch((e) => App.say("The page could not start: " + e.message));
