"use strict";
/* Closed ground: what the run knows of it, asked for every site that is set or loaded by hand. */
const Closed = { edge: 1e-9 };
/* reefscan.surroundings.closed.holds, line for line: edges crossed; an edge itself belongs to it. */
Closed.holds = function (rings, lon, lat) {
  let odd = false;
  for (const ring of rings) {
    for (let k = 0; k < ring.length - 2; k += 2) {
      const ax = ring[k] - lon, ay = ring[k + 1] - lat, bx = ring[k + 2] - lon, by = ring[k + 3] - lat;
      const dx = bx - ax, dy = by - ay, length = dx * dx + dy * dy;
      const t = length === 0 ? 0 : Math.min(1, Math.max(0, -(ax * dx + ay * dy) / length));
      const x = ax + t * dx, y = ay + t * dy;
      if (x * x + y * y <= Closed.edge * Closed.edge) return true;
      if ((ay > 0) !== (by > 0) && ax - (ay * dx) / dy > 0) odd = !odd;
    }
  }
  return odd;
};
/* Why no site may be set at a place; empty if nothing is known against it. */
Closed.why = function (closed, lon, lat) {
  if (!closed) return "";
  const [west, south, east, north] = closed.box, middle = (west + east) / 2;
  const turn = (v) => ((v % 360) + 360) % 360;
  const x = middle + turn(lon - middle + 180) - 180;
  if (!(x >= west && x <= east && lat >= south && lat <= north)) return "lies beyond the ground for which this page knows what is closed";
  const area = closed.areas.find((a) => Closed.holds(a.rings, x, lat));
  return area ? "lies in closed ground (" + area.name + ")" : "";
};
