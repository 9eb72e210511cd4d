"use strict";
/* How far and in which direction one place lies from another. */
const Way = {};
/* Metres and true bearing, by the ellipsoid's radii of curvature (WGS 84, EPSG:7030) at the middle latitude: within 1 in 1000 up to 50 km below 70 degrees. */
Way.between = function (from, to) {
  const a = 6378137.0, e2 = (1 / 298.257223563) * (2 - 1 / 298.257223563), rad = Math.PI / 180;
  const middle = ((from.lat + to.lat) / 2) * rad, s = 1 - e2 * Math.sin(middle) ** 2;
  const north = (to.lat - from.lat) * rad * ((a * (1 - e2)) / s ** 1.5);
  const east = ((((to.lon - from.lon) % 360) + 540) % 360 - 180) * rad * (a / Math.sqrt(s)) * Math.cos(middle);
  return { metres: Math.hypot(east, north), bearing: (Math.atan2(east, north) / rad + 360) % 360 };
};
Way.words = function (from, to) { const w = Way.between(from, to); return Words.far(w.metres) + ", " + Words.degrees(Math.round(w.bearing) % 360) + " true"; };
/* The kept site nearest to a place, itself left out. */
Way.kept = function (id, place) {
  let best = null, near = Infinity;
  for (const p of Picks.by.values()) {
    if (p.state !== "keep" || p.id === id) continue;
    const { metres } = Way.between(place, p);
    if (metres < near) { near = metres; best = p; }
  }
  return best;
};
/* What the card says of ways: to the nearest kept site, and from where the person is. */
Way.facts = function (id, place) {
  const out = [], kept = Way.kept(id, place);
  if (kept) out.push(["To the nearest kept site", App.called(kept.id) + ": " + Way.words(place, kept)]);
  if (Here.at) out.push(["From my place to here", Way.words(Here.at, place) + ". Not for navigation."]);
  return out;
};
/* In the open card, alone: a place that changes every second must not take away what is being typed there. */
Way.fill = function () {
  const box = document.getElementById("ways"), i = App.rowOf.get(App.chosen), c = App.table.columns, place = i === undefined ? Picks.added.get(App.chosen) : { lon: c.lon[i], lat: c.lat[i] };
  if (!box || !place) return;
  const facts = Way.facts(App.chosen, place);
  box.replaceChildren(...(facts.length ? [Card.list("Ways", facts)] : []));
};
