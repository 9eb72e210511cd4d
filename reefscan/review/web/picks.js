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
  document.getElementById("addsite").onclick = (e) => {
    App.adding = !App.adding;
    e.target.setAttribute("aria-pressed", String(App.adding));
    document.body.classList.toggle("adding", App.adding);
    App.say(App.adding ? "Press the map where the site should be; with the keyboard, Enter takes the middle of the map." : "");
  };
};
Picks.keepSafe = function () {
  try { localStorage.setItem(Picks.key(), Picks.text()); Picks.stored = true; }
  catch { Picks.stored = false; }
};
Picks.set = function (site, change) {
  const old = Picks.by.get(site.id) || { id: site.id, state: "", name: "", note: "", lon: site.lon, lat: site.lat, depth_m: site.depth_m ?? null, kind: site.kind || "", added: false };
  const next = { ...old, ...change };
  if (!next.state && !next.name && !next.note && !next.added) Picks.by.delete(site.id); else Picks.by.set(site.id, next);
  if (next.added) Picks.added.set(site.id, next);
  Picks.keepSafe();
  App.shown();
};
Picks.remove = function (id) { Picks.by.delete(id); Picks.added.delete(id); if (App.chosen === id) App.chosen = null; Picks.keepSafe(); App.shown(); Card.fill(); };
Picks.add = function (px, py, at) {
  const [lon, lat] = at || SeaMap.lonlat(px, py);
  const why = Closed.why(App.data.closed, lon, lat);
  if (why) return App.say("Not set: the place " + why + ".");
  let n = 1;
  while (Picks.by.has("hand-" + n)) n++;
  const p = { id: "hand-" + n, state: "keep", name: "By hand " + n, note: "", lon: +lon.toFixed(7), lat: +lat.toFixed(7), depth_m: null, kind: "by hand", added: true };
  if (App.adding) document.getElementById("addsite").click();
  Picks.set(p, p);
  App.choose(p.id, { show: true });
  App.say(p.name + " set at " + Words.ddm(lat, lon));
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
  Picks.by = good;
  Picks.added = new Map([...good].filter(([, p]) => p.added));
  const foreign = [...good.values()].filter((p) => !p.added && !App.rowOf.has(p.id)).length;
  const left = refused.length ? "Left out: " + refused.join("; ") + "." : "";
  if (!quiet) App.say(good.size + " picks loaded" + (foreign ? "; " + foreign + " are of sites this run does not have: kept in the file, not on this map" : "") + ". " + left);
  else if (left) App.say(left);
};
Picks.form = function (id, site) {
  const name = make("input", { class: "wide", maxLength: 200, value: Picks.name(id) }), note = make("textarea", { rows: 2, maxLength: 2000 });
  name.value = Picks.name(id); note.value = Picks.note(id);
  const state = Picks.state(id), s = { id, ...site };
  const toggle = (v, words) => make("button", { type: "button", "aria-pressed": String(state === v), "data-pick": v, onclick: () => { Picks.set(s, { state: Picks.state(id) === v ? "" : v }); Card.fill(); document.querySelector('#card [data-pick="' + v + '"]')?.focus(); } }, words);
  name.addEventListener("change", () => Picks.set(s, { name: name.value.trim() }));
  note.addEventListener("change", () => Picks.set(s, { note: note.value.trim() }));
  return make("div", {}, make("h3", {}, "Your pick"),
    make("div", { class: "actions" }, toggle("keep", "Keep"), toggle("drop", "Drop"), Picks.added.has(id) ? make("button", { type: "button", onclick: () => Picks.remove(id) }, "Remove") : null),
    make("label", {}, "Name ", name), make("label", {}, "Note ", note));
};
Picks.fill = function () {
  const box = document.getElementById("picks"), all = [...Picks.by.values()];
  const file = make("input", { type: "file", accept: ".json,application/json", "aria-label": "Load picks from a file" });
  file.addEventListener("change", async () => {
    try { Picks.read(await file.files[0].text()); Picks.keepSafe(); App.shown(); Card.fill(); Picks.fill(); }
    catch (e) { App.say(e.message); }
  });
  const lat = make("input", { type: "number", step: "any", id: "hand-lat" }), lon = make("input", { type: "number", step: "any", id: "hand-lon" });
  const list = make("ul", {}, all.map((p) => make("li", {}, make("button", { type: "button", onclick: () => (App.rowOf.has(p.id) || p.added) && App.choose(p.id, { show: true }) }, p.name || p.id), " " + (p.state === "keep" ? "✓ kept" : p.state === "drop" ? "✗ dropped" : "noted") + (p.note ? ": " + p.note : "") + (!p.added && !App.rowOf.has(p.id) ? " (not in this run)" : ""))));
  box.replaceChildren(
    make("p", {}, all.filter((p) => p.state === "keep").length + " kept, " + all.filter((p) => p.state === "drop").length + " dropped, " + Picks.added.size + " set by hand."),
    make("p", { class: "quiet" }, Picks.stored ? "Picks are kept in this browser; save the file to take them along." : "This browser lets the page keep nothing: save the file before you close it."),
    make("div", { class: "actions" }, make("button", { type: "button", id: "savepicks", onclick: () => download("picks.json", "application/json", Picks.text()) }, "Save picks.json")),
    make("label", {}, "Load picks ", file), list,
    make("h3", {}, "Set a site by position"),
    make("div", { class: "corners" }, make("label", {}, "Lat ", lat), make("label", {}, "Lon ", lon), make("button", { type: "button", id: "hand-add", onclick: () => {
      const a = parseFloat(lat.value), o = parseFloat(lon.value);
      if (!(Math.abs(a) <= 90) || !(o >= -180 && o <= 360)) return App.say("Give a latitude from -90 to 90 and a longitude from -180 to 180, in degrees.");
      Picks.add(0, 0, [o, a]);
    } }, "Set")),
  );
};
