"use strict";
/* Figures on the map: its scale, the north, lines of latitude and longitude, depths on their lines. */
SeaMap.ink = (night) => (night ? { text: "#ff8a7e", halo: "#000", back: "rgba(0,0,0,.75)" } : { text: "#14202b", halo: "#fdfcf8", back: "rgba(253,252,248,.85)" });
SeaMap.figure = function (g, words, x, y, night) {
  const { text, halo } = SeaMap.ink(night);
  g.lineJoin = "round"; g.lineWidth = 3; g.strokeStyle = halo; g.strokeText(words, x, y);
  g.fillStyle = text; g.fillText(words, x, y);
};
SeaMap.bar = function (g, w, h, night) {
  const perPx = App.data.picture.cell_m / SeaMap.scale, [metres, words] = Words.rule(Math.min(w * 0.25, 160) * perPx), px = metres / perPx;
  const { text, halo, back } = SeaMap.ink(night);
  g.fillStyle = back; g.fillRect(8, h - 34, px + 16, 26);
  g.fillStyle = text; g.fillRect(16, h - 15, px, 3); g.fillRect(16, h - 19, 1.5, 7); g.fillRect(16 + px - 1.5, h - 19, 1.5, 7);
  g.font = "11px system-ui, sans-serif"; g.fillText(words, 16, h - 21);
  const x = w - 72; /* beside the buttons */
  g.beginPath(); g.moveTo(x, 12); g.lineTo(x - 7, 34); g.lineTo(x, 28); g.lineTo(x + 7, 34); g.closePath();
  g.strokeStyle = halo; g.lineWidth = 3; g.stroke(); g.fill(); SeaMap.figure(g, "N", x - 4, 47, night);
};
/* Steps of the lines of latitude and longitude, minutes. */
SeaMap.minutes = [0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600];
SeaMap.apart = 110; /* pixels between two of them, so that their figures stand free */
SeaMap.graticule = function (g, { x, y, scale, w, h }, night) {
  const at = (a, b) => SeaMap.lonlat(x + a / scale, y + b / scale), around = (lon, near) => near + (((lon - near + 540) % 360) - 180);
  const middle = at(w / 2, h / 2), edge = [];
  for (const s of [0, 0.5, 1]) edge.push(at(s * w, 0), at(s * w, h), at(0, s * h), at(w, s * h));
  g.font = "10px system-ui, sans-serif"; g.lineWidth = 0.7;
  [0, 1].forEach((axis) => {
    const values = edge.map((p) => (axis ? p[1] : around(p[0], middle[0]))), low = Math.min(...values), high = Math.max(...values);
    const step = SeaMap.minutes.find((m) => (m / 60 / (high - low)) * (axis ? h : w) >= SeaMap.apart);
    if (!step) return;
    const across = edge.map((p) => (axis ? around(p[0], middle[0]) : p[1])), from = Math.min(...across), to = Math.max(...across);
    for (let k = Math.ceil((low * 60) / step); k <= (high * 60) / step; k++) {
      const v = (k * step) / 60, line = [0, 0.25, 0.5, 0.75, 1].map((s) => from + s * (to - from)).map((u) => (axis ? App.place(u, v) : App.place(v, u))).map(([a, b]) => [(a - x) * scale, (b - y) * scale]);
      g.strokeStyle = night ? "rgba(255,138,126,.4)" : "rgba(20,32,43,.35)"; g.lineWidth = 0.7;
      g.beginPath(); line.forEach(([a, b], i) => (i ? g.lineTo(a, b) : g.moveTo(a, b))); g.stroke();
      const words = Words.minutes(v, step, axis ? "NS" : "EW"), [a, b] = axis ? SeaMap.crossing(line, 0, 4) : SeaMap.crossing(line, 1, h - 5);
      if (axis ? b > 64 && b < h - 44 : a > w * 0.25 + 40 && a < w - 66) SeaMap.figure(g, words, a + (axis ? 0 : 3), b - (axis ? 3 : 0), night);
    }
  });
};
/* Where a line on the screen has this x (which 0) or y (which 1). */
SeaMap.crossing = function (line, which, value) {
  let k = 1;
  while (k < line.length - 1 && (line[k][which] - value) * (line[0][which] - value) > 0) k++;
  const [p, q] = [line[k - 1], line[k]], t = (value - p[which]) / (q[which] - p[which] || 1);
  return [p[0] + t * (q[0] - p[0]), p[1] + t * (q[1] - p[1])];
};
/* A depth on its line, along it; none nearer than 80 pixels to another, so that the ground stays seen. */
SeaMap.shares = [8, 4, 12, 2, 14, 6, 10, 1, 15, 3, 5, 7, 9, 11, 13].map((k) => k / 16); /* where along a line a figure is tried */
SeaMap.depths = function (g, { x, y, scale, w, h }, night) {
  const taken = [];
  g.font = "10px system-ui, sans-serif"; g.textAlign = "center";
  for (const { depth, lines } of App.data.contours) {
    if (depth === 0) continue;
    const words = String(+(depth / Words.per[Words.unit]).toFixed(Words.unit === "ft" ? 0 : 1)); /* round in the unit that the page was made in */
    for (const l of lines) {
      const n = l.length / 2, at = (k) => [(l[2 * k] - x) * scale, (l[2 * k + 1] - y) * scale];
      for (const share of SeaMap.shares) {
        const k = Math.round(share * (n - 1)), [a, b] = at(k);
        if (a < 20 || b < 14 || a > w - 20 || b > h - 14 || taken.some(([p, q]) => Math.hypot(p - a, q - b) < 80)) continue;
        let p, q, far = 0;
        for (let span = 2; span < n && far < 14; span *= 2) { p = at(Math.max(0, k - span)); q = at(Math.min(n - 1, k + span)); far = Math.hypot(q[0] - p[0], q[1] - p[1]); }
        if (far < 14) continue; /* a ring smaller than its figure */
        taken.push([a, b]);
        const turn = Math.atan2(q[1] - p[1], q[0] - p[0]);
        g.save(); g.translate(a, b); g.rotate(Math.abs(turn) > Math.PI / 2 ? turn + Math.PI : turn);
        SeaMap.figure(g, words, 0, 3.5, night);
        g.restore();
        break;
      }
    }
  }
  SeaMap.figured = taken.length;
  g.textAlign = "start";
};
