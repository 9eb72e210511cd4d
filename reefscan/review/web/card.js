"use strict";
/* One site: what to do with it, why it is one, its section, its measures, terms and position. */
const Card = {};
Card.fill = function () {
  const box = document.getElementById("card"), id = App.chosen, hand = Picks.added.get(id), i = App.rowOf.get(id);
  App.refill(box, () => {
    box.replaceChildren();
    if (hand) Card.hand(box, hand);
    else if (i !== undefined) Card.found(box, i, id);
    else box.append(make("p", {}, App.table.n ? "Choose a site in the list or on the map." : "This run found no site."));
    Way.fill();
  });
};
Card.found = function (box, i, id) {
  const cols = App.table.columns, at = (k) => (cols[k] ? cols[k][i] : null), place = { lon: at("lon"), lat: at("lat") };
  const site = { ...place, depth_m: at("depth_m"), kind: at("kind") };
  box.append(make("h2", {}, Card.title(i)), Card.actions(id, site), make("p", {}, Card.worth(i)));
  if (App.why(i)) box.append(make("p", {}, App.why(i)));
  if (App.seconds().has(i)) box.append(make("p", {}, "Same place as number " + App.seconds().get(i) + ", which is better."));
  const flags = at("flags") || [];
  if (flags.length) box.append(make("p", { class: "caution" }, "Mind: " + flags.map(Words.flag).join("; ")));
  box.append(Card.profile(i), Card.mini(i), make("div", { id: "ways" }), Card.list("Measures", Card.facts(i)));
  box.append(make("h3", {}, "What made the score"), Card.terms(i));
  box.append(make("h3", {}, "Position (WGS 84)"), Card.position(place.lat, place.lon), Picks.form(id, site));
};
Card.title = function (i) {
  const kind = App.table.columns.kind[i], name = Picks.name(App.table.columns.id[i]);
  return (App.rankOf[i] ? App.rankOf[i] + ". " : "") + (name ? name + ", " + kind : kind[0].toUpperCase() + kind.slice(1)) + ", " + Words.depth(App.table.columns.depth_m[i]);
};
Card.worth = function (i) {
  const conf = App.scored.confidence[i], listed = App.scored.listed[i] ? "too near a better one, or the list is full" : App.scored.doubted[i] ? "doubts leave too little of its score" : "something that must be met is not";
  return "Score " + App.scored.score[i].toFixed(1) + " of 100" + (Number.isNaN(conf) ? "" : "; chance it is tall enough: " + Words.sure(conf)) + (App.rankOf[i] ? "." : "; not listed: " + listed + ".");
};
Card.list = (head, facts) => make("div", {}, make("h3", {}, head), make("dl", {}, facts.flatMap(([k, v]) => [make("dt", {}, k), make("dd", {}, v)])));
/* What a thumb wants first: the sites before and after, and the choice. */
Card.actions = (id, site) => make("div", { class: "actions" },
  make("button", { type: "button", "data-step": "back", onclick: () => App.step(-1) }, "Previous"), make("button", { type: "button", "data-step": "on", onclick: () => App.step(1) }, "Next"), Picks.choice(id, site));
Card.hand = function (box, p) {
  box.append(make("h2", {}, p.name || p.id), Card.actions(p.id, p), make("p", {}, "Set by hand; " + (Reef.known(p.depth_m) ? "depth " + Words.depth(p.depth_m) : "no depth is known here: sound it first") + "."));
  box.append(make("div", { id: "ways" }), make("h3", {}, "Position (WGS 84)"), Card.position(p.lat, p.lon), Picks.form(p.id, p));
};
Card.widths = { trough: "Width, crest to crest", ledge: "Width of its face", rise: "Width, foot to foot" };
Card.facts = function (i) {
  const c = App.table.columns, at = (k) => (c[k] ? c[k][i] : null), out = [["Depth", Words.depth(at("depth_m"))]];
  if (Reef.known(at("uncertainty_m"))) out[0][1] += " ± " + Words.depth(at("uncertainty_m"), 1) + " (in 2 of 3 cases)";
  out[0][1] += ", " + App.data.datum.short;
  const add = (k, label, f) => Reef.known(at(k)) && out.push([label, f(at(k))]);
  add("height_m", "Height of the structure", (v) => Words.depth(v, 1));
  if (Reef.known(at("drop_m")) && Reef.known(at("run_m"))) out.push(["Falls", Words.depth(at("drop_m"), 1) + " in " + Words.length(at("run_m"))]);
  add("steep_deg", "Gradient of its face", Words.steep);
  add("width_m", Card.widths[at("kind")] || "Width", Words.length);
  add("off_m", "Distance to the rock", (v) => (Words.lost(v, at("position_m")) ? "closer than the position is sure" : Words.length(v)) + (v < at("lands_within_m") ? ": may land on the rock" : ""));
  add("contrast", "Stands out from what is around, 0 to 1", (v) => v.toFixed(2));
  add("cross_deg", "Heading across it", (v) => Words.degrees(v) + " / " + Words.degrees((v + 180) % 360) + " true");
  add("axis_deg", "Runs along", (v) => Words.degrees(v) + " / " + Words.degrees((v + 180) % 360) + " true");
  add("facing_deg", "Falls away toward", (v) => Words.degrees(v) + " true");
  add("slope_deg", "Slope of the floor", Words.steep);
  add("lands_within_m", "A net lands within about", Words.length);
  add("cell_m", "Cells of the grid", (v) => Words.depth(v, 1));
  if (at("source")) out.push(["From", at("source")]);
  if (App.rankOf[i]) out.push(["Name as a waypoint", Waypoints.unique([Picks.name(at("id")) || Waypoints.made(App.rankOf[i], at("kind"), at("depth_m"))], App.data.naming.length)[0]]);
  out.push(["Id", at("id")]);
  return out;
};
Card.terms = function (i) {
  const t = make("table", {}, make("tr", {}, make("th", { scope: "col" }, "Term"), make("th", { scope: "col" }, "Worth"), make("th", { scope: "col", class: "n" }, "0 to 1"), make("th", { scope: "col", class: "n" }, "Weight")));
  for (const u of App.scored.used) {
    if (u.state[i] === 0) continue;
    const known = u.state[i] === 1, mu = known ? u.mu[i] : App.recipe.score.unknown;
    const bar = make("div", { class: "bar", "aria-hidden": "true" }, make("i", { style: "width:" + (mu * 100).toFixed(1) + "%" }));
    t.append(make("tr", {}, make("td", {}, Words.term(u.name), u.term.required ? " (must be met)" : ""), make("td", {}, bar), make("td", { class: "n" }, known ? mu.toFixed(2) : "unknown"), make("td", { class: "n" }, String(+u.term.weight.toFixed(3)))));
  }
  if (App.scored.dropped.length) t.append(make("tr", {}, make("td", { colspan: "4", class: "quiet" }, "Not known anywhere in this run, so it does not count: " + App.scored.dropped.map(Words.term).join("; "))));
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
