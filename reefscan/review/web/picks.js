"use strict";
/* What the person decides. Kept in the browser where it lets us, always downloadable, loadable again. */
const Picks = { by: new Map(), added: new Map(), stored: true };
Picks.schema = "reefscan-picks/1";
Picks.key = () => "reefscan-picks:" + App.data.run;
Picks.state = (id) => (Picks.by.get(id) || {}).state || "";
Picks.note = (id) => (Picks.by.get(id) || {}).note || "";
Picks.name = (id) => (Picks.by.get(id) || {}).name || "";
Picks.start = function () {
  try { const text = localStorage.getItem(Picks.key()); if (text) Picks.read(text, true); }
  catch { Picks.stored = false; }
  document.getElementById("addsite").onclick = () => Picks.placing(App.adding ? false : true);
};
/* The next press of the map sets a site (true) or moves the one of this id. */
Picks.placing = function (what) {
  App.adding = what;
  document.getElementById("addsite").setAttribute("aria-pressed", String(what === true));
  document.body.classList.toggle("adding", what !== false);
  App.say(what === false ? "" : "Press the map where the site should be. With the keyboard, Enter takes the middle of the map.");
  App.draw();
};
Picks.keepSafe = function () {
  try { localStorage.setItem(Picks.key(), Picks.text()); Picks.stored = true; }
  catch { Picks.stored = false; }
};
/* All picks at once; those set by hand are told by their mark. */
Picks.all = function (by) {
  Picks.by = by;
  Picks.added = new Map([...by].filter(([, p]) => p.added));
  Picks.keepSafe();
};
Picks.done = { keep: "is kept", drop: "is dropped", "": "is neither kept nor dropped" };
Picks.set = function (site, change) {
  const old = Picks.by.get(site.id) || { id: site.id, state: "", name: "", note: "", lon: site.lon, lat: site.lat, depth_m: site.depth_m ?? null, kind: site.kind || "", added: false };
  const next = { ...old, ...change }, words = App.called(site.id) + " " + ("state" in change ? Picks.done[next.state] : "has new words") + ".";
  const by = new Map(Picks.by);
  if (!next.state && !next.name && !next.note && !next.added) by.delete(site.id); else by.set(site.id, next);
  Picks.change(by, words);
};
Picks.change = function (by, words) {
  Undo.before(words);
  Picks.all(by);
  App.shown();
  App.say(words[0].toUpperCase() + words.slice(1), true);
};
Picks.remove = function (id) {
  const by = new Map(Picks.by), words = App.called(id) + " is removed.";
  by.delete(id);
  if (App.chosen === id) App.chosen = null;
  Picks.change(by, words);
  Card.fill();
};
/* Why no site may be set by hand at a place; empty if nothing is known against it. */
Picks.why = function (lon, lat) {
  return Closed.why(App.data.closed, lon, lat) || (Ground.known(...App.place(lon, lat)) ? "" : "lies outside the ground that this grid knows");
};
Picks.add = function (px, py, at) {
  const [lon, lat] = at || SeaMap.lonlat(px, py), why = Picks.why(lon, lat), moved = Picks.added.get(App.adding);
  if (why) return App.say((moved ? "Not moved: the place " : "Not set: the place ") + why + ".");
  let n = 1;
  while (Picks.by.has("hand-" + n)) n++;
  const fresh = { id: "hand-" + n, state: "keep", name: "Hand " + n, note: "", depth_m: null, kind: "by hand", added: true };
  const p = { ...(moved || fresh), lon: +lon.toFixed(7), lat: +lat.toFixed(7) };
  if (App.adding) Picks.placing(false);
  Picks.change(new Map(Picks.by).set(p.id, p), (p.name || p.id) + (moved ? " is moved to " : " is set at ") + Words.ddm(lat, lon) + ".");
  App.choose(p.id, { show: true });
};
Picks.text = () => JSON.stringify({ schema: Picks.schema, run: App.data.run, picks: [...Picks.by.values()] }, null, 1) + "\n";
Picks.read = function (text, quiet) {
  let data;
  try { data = JSON.parse(text); } catch { throw new Error("This is not a picks file: it is not valid JSON."); }
  if (!data || data.schema !== Picks.schema || !Array.isArray(data.picks)) throw new Error("This is not a picks file: schema " + Picks.schema + " is wanted.");
  const good = new Map();
  data.picks.forEach((p, k) => {
    const bad = (why) => { throw new Error("Pick " + (k + 1) + ": " + why); };
    if (!p || typeof p.id !== "string" || !p.id) bad("has no id");
    if (!["keep", "drop", ""].includes(p.state)) bad("state must be keep, drop or empty");
    if (!Number.isFinite(p.lon) || p.lon < -180 || p.lon > 360) bad("lon must be a number of degrees");
    if (!Number.isFinite(p.lat) || Math.abs(p.lat) > 90) bad("lat must be a number from -90 to 90");
    if (good.has(p.id)) bad("its id stands twice");
    if (p.depth_m !== null && p.depth_m !== undefined && !Number.isFinite(p.depth_m)) bad("depth_m must be a number or null");
    good.set(p.id, { id: p.id, state: p.state, name: String(p.name ?? "").slice(0, 2000), note: String(p.note ?? "").slice(0, 2000), lon: p.lon, lat: p.lat, depth_m: p.depth_m ?? null, kind: String(p.kind ?? ""), added: p.added === true });
  });
  const refused = [];
  for (const [id, p] of [...good]) {
    const why = App.rowOf.has(id) ? "" : Closed.why(App.data.closed, p.lon, p.lat);
    if (why) { good.delete(id); refused.push((p.name || id) + " " + why); }
  }
  if (!quiet) Undo.before("picks are loaded from a file.");
  Picks.by = good;
  Picks.added = new Map([...good].filter(([, p]) => p.added));
  const foreign = [...good.values()].filter((p) => !p.added && !App.rowOf.has(p.id)).length;
  const left = refused.length ? "Left out: " + refused.join("; ") + "." : "";
  if (!quiet) App.say(good.size + " picks loaded" + (foreign ? "; " + foreign + " are of sites this run does not have: kept in the file, not on this map" : "") + ". " + left, true);
  else if (left) App.say(left);
};
