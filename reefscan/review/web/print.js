"use strict";
/* On paper: a card of each site that goes along, two a page, and nothing that only a screen can use. */
const Print = { most: 20 };
Print.start = function () {
  window.addEventListener("beforeprint", Print.fill);
  window.addEventListener("afterprint", () => document.getElementById("print").replaceChildren());
};
Print.fill = function () {
  const sites = Waypoints.sites(), chosen = sites.some(({ i, hand }) => hand || Picks.state(App.table.columns.id[i]) === "keep");
  const told = chosen ? sites : sites.slice(0, Print.most), points = Waypoints.points(told);
  document.getElementById("print").replaceChildren(
    make("h1", {}, Waypoints.title()), make("p", {}, Waypoints.note()),
    ...told.map((site, k) => Print.card(site, points[k])));
  if (!told.length) document.getElementById("print").append(make("p", {}, "There is no site to print."));
};
Print.card = function ({ i, hand }, point) {
  const card = make("article", {}, make("h2", {}, point.name + (hand || !App.rankOf[i] ? "" : ", number " + App.rankOf[i]) + ": " + point.kind, hand ? null : make("small", {}, Print.worth(i))));
  card.append(make("p", { class: "depth" }, point.depth_m === null ? "Depth unknown: sound it first" : point.words), make("p", { class: "depth" }, Words.ddm(point.lat, point.lon)));
  if (point.text) card.append(make("p", {}, point.text));
  if (!hand) card.append(make("div", { class: "side" }, Card.profile(i, 520), Card.mini(i, 330)), make("p", {}, Print.figures(i)));
  card.append(make("p", {}, App.data.caution_short));
  return card;
};
/* As on the cards of "reefscan cards". */
Print.worth = function (i) {
  const sure = App.scored.confidence[i];
  return " score " + App.scored.score[i].toFixed(1) + (Number.isNaN(sure) ? "" : ", chance it is tall enough: " + Words.sure(sure));
};
Print.figures = (i) => Card.facts(i).filter(([k]) => !["Depth", "Id", "From", "Name as a waypoint"].includes(k)).map(([k, v]) => k + ": " + v).join("; ") + ".";
