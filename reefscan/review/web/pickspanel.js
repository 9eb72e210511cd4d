"use strict";
/* The picks on screen: what one site's card asks, and the panel of all. */
Picks.choice = function (id, site) {
  const state = Picks.state(id), s = { id, ...site };
  const toggle = (v, words) => make("button", { type: "button", "aria-pressed": String(state === v), "data-pick": v, onclick: () => { Picks.set(s, { state: Picks.state(id) === v ? "" : v }); Card.fill(); } }, words);
  return [toggle("keep", "Keep"), toggle("drop", "Drop"),
    ...(Picks.added.has(id) ? [make("button", { type: "button", "data-pick": "move", onclick: () => Picks.placing(App.adding === id ? false : id) }, "Move"), make("button", { type: "button", "data-pick": "remove", onclick: () => Picks.remove(id) }, "Remove")] : [])];
};
Picks.form = function (id, site) {
  const name = make("input", { class: "wide", maxLength: 200 }), note = make("textarea", { rows: 2, maxLength: 2000 }), s = { id, ...site };
  name.value = Picks.name(id); note.value = Picks.note(id);
  name.addEventListener("change", () => Picks.set(s, { name: name.value.trim() }));
  note.addEventListener("change", () => Picks.set(s, { note: note.value.trim() }));
  return make("div", {}, make("h3", {}, "Your words for it"), make("label", {}, "Name ", name), make("label", {}, "Note ", note));
};
Picks.listed = function (p) {
  const mine = App.rowOf.has(p.id) || p.added, state = p.state === "keep" ? "✓ kept" : p.state === "drop" ? "✗ dropped" : "noted";
  const words = (p.added ? p.name || p.id : App.called(p.id)) + ", " + state + (p.note ? ": " + p.note : "");
  return make("li", {}, mine ? make("button", { type: "button", onclick: () => App.choose(p.id, { show: true }) }, words) : words + " (not in this run)");
};
Picks.fill = function () {
  const box = document.getElementById("picks"), all = [...Picks.by.values()];
  if (box.hidden) return; /* filled when it is opened: a slider should not wait for it */
  const file = make("input", { type: "file", id: "loadpicks", accept: ".json,application/json" });
  file.addEventListener("change", async () => {
    try { Picks.read(await file.files[0].text()); Picks.keepSafe(); App.shown(); Card.fill(); }
    catch (e) { App.say(e.message); }
  });
  const place = make("input", { id: "hand-place", class: "place", autocomplete: "off", "aria-describedby": "hand-how" });
  const set = () => { const at = Words.readPlace(place.value); if (at) Picks.add(0, 0, at); else App.say("That is no place. Write latitude and longitude, such as 45.0118 -22.5167."); };
  place.addEventListener("keydown", (e) => { if (e.key === "Enter") set(); });
  App.refill(box, () => box.replaceChildren(
    make("p", {}, all.filter((p) => p.state === "keep").length + " kept, " + all.filter((p) => p.state === "drop").length + " dropped, " + Picks.added.size + " set by hand."),
    TakeAlong.form(),
    make("h3", {}, "Picks"),
    make("ul", {}, all.map(Picks.listed)),
    make("div", { class: "actions" },
      make("button", { type: "button", id: "undolast", disabled: !Undo.stack.length, onclick: Undo.back }, "Undo the last change"),
      make("button", { type: "button", id: "savepicks", onclick: () => download("picks.json", "application/json", Picks.text()) }, "Save picks.json")),
    make("p", { class: "quiet" }, Picks.stored ? "Picks are kept in this browser; save the file to take them along." : "This browser lets the page keep nothing: save the file before you close it."),
    make("label", { for: "loadpicks" }, "Load picks"), file,
    make("h3", {}, "Set a site by position"),
    make("p", { class: "quiet", id: "hand-how" }, "Latitude first, such as 45.0118 -22.5167 or 45°00.708'N 22°31.001'W."),
    make("div", { class: "actions" }, make("label", {}, "Place ", place), make("button", { type: "button", id: "hand-add", onclick: set }, "Set")),
  ));
};
