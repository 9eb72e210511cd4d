"use strict";
/* What the map shows: ground, lines, closed ground and the marks of sites; by night in red alone. */
SeaMap.scoreStops = [[0, [255, 250, 220]], [0.4, [253, 214, 120]], [0.7, [240, 138, 44]], [0.9, [196, 60, 24]], [1, [128, 16, 24]]];
SeaMap.scoreColour = function (score) {
  const t = Math.min(1, Math.max(0, score / 100)), s = SeaMap.scoreStops;
  let k = 1;
  while (k < s.length - 1 && t > s[k][0]) k++;
  const f = (t - s[k - 1][0]) / (s[k][0] - s[k - 1][0]);
  return "rgb(" + s[k][1].map((v, i) => Math.round(s[k - 1][1][i] + (v - s[k - 1][1][i]) * f)).join(",") + ")";
};
SeaMap.outline = function (g, kind, x, y, r) {
  const o = (App.data.kinds[kind] || App.data.kinds["man-made"]).outline;
  g.beginPath();
  o.forEach(([a, b], i) => (i ? g.lineTo(x + a * r, y - b * r) : g.moveTo(x + a * r, y - b * r)));
  g.closePath();
};

SeaMap.ground = function (g, view, night) {
  const { x, y, scale, w, h } = view, pic = App.data.picture;
  g.fillStyle = night ? "#0a0201" : "#e8e8e4";
  g.fillRect(0, 0, w, h);
  g.imageSmoothingEnabled = true; g.imageSmoothingQuality = "high";
  g.drawImage(document.getElementById("picture"), -x * scale, -y * scale, pic.width * scale, pic.height * scale);
  g.lineWidth = 0.6;
  g.strokeStyle = "rgba(20,32,43,.5)";
  for (const c of App.data.contours) {
    g.lineWidth = c.depth === 0 ? 1.2 : 0.6;
    SeaMap.lines(g, c.lines, view);
  }
  g.lineCap = "butt";
  for (const f of App.data.features) {
    g.setLineDash([]);
    g.strokeStyle = "rgba(253,252,248,.8)"; g.lineWidth = 3;
    SeaMap.lines(g, f.lines, view);
    g.setLineDash((App.data.kinds[f.kind] || { dash: [] }).dash.map((d) => d * 1.4));
    g.strokeStyle = "#14202b"; g.lineWidth = 1.4;
    SeaMap.lines(g, f.lines, view);
  }
  g.setLineDash([]);
  SeaMap.closed(g, view, false);
  if (night) {
    g.globalCompositeOperation = "saturation"; g.fillStyle = "#808080"; g.fillRect(0, 0, w, h);
    g.globalCompositeOperation = "screen"; g.fillStyle = "#444444"; g.fillRect(0, 0, w, h); /* else deep ground is black on black */
    g.globalCompositeOperation = "source-over"; SeaMap.unlit(g, view);
    g.globalCompositeOperation = "multiply"; g.fillStyle = "#8c1a10"; g.fillRect(0, 0, w, h);
    g.globalCompositeOperation = "source-over";
    SeaMap.closed(g, view, true);
  }
};
/* What the grid does not know is pale by day; by night it would be the brightest of all, and is left dark. */
SeaMap.unlit = function (g, { x, y, scale, w, h }) {
  const { side, cols } = App.data.known, { width, height } = App.data.picture, rows = Math.ceil(height / side);
  if (!SeaMap.mask) {
    SeaMap.mask = make("canvas", { width: cols, height: rows });
    const ink = SeaMap.mask.getContext("2d");
    for (let k = 0; k < rows * cols; k++) if (!Ground.known((k % cols) * side, Math.floor(k / cols) * side)) ink.fillRect(k % cols, Math.floor(k / cols), 1, 1);
  }
  g.fillStyle = "#000";
  g.beginPath(); g.rect(0, 0, w, h); g.rect(-x * scale, -y * scale, width * scale, height * scale); g.fill("evenodd");
  g.imageSmoothingEnabled = false;
  g.drawImage(SeaMap.mask, -x * scale, -y * scale, cols * side * scale, rows * side * scale);
  g.imageSmoothingEnabled = true;
};
/* Closed ground: ringed and shaded; over the red of the night once more in the light of its figures. */
SeaMap.closed = function (g, { x, y, scale }, night) {
  if (!App.data.closed) return;
  g.beginPath();
  for (const area of App.data.closed.areas) {
    area.px = area.px || area.rings.map((ring) => { const out = []; for (let k = 0; k < ring.length; k += 2) out.push(App.place(ring[k], ring[k + 1])); return out; });
    for (const ring of area.px) { ring.forEach(([a, b], k) => (k ? g.lineTo((a - x) * scale, (b - y) * scale) : g.moveTo((a - x) * scale, (b - y) * scale))); g.closePath(); }
  }
  const { text, halo } = SeaMap.ink(night);
  if (!night) { g.fillStyle = "rgba(140,20,32,.22)"; g.fill("evenodd"); }
  g.strokeStyle = halo; g.lineWidth = 3.5; g.stroke();
  g.strokeStyle = night ? text : "#8c1420"; g.lineWidth = 1.8; g.stroke();
};
SeaMap.lines = function (g, lines, { x, y, scale, w, h }) {
  g.beginPath();
  for (const l of lines) {
    for (let k = 0; k < l.length; k += 2) {
      const a = (l[k] - x) * scale, b = (l[k + 1] - y) * scale;
      if (k) g.lineTo(a, b); else g.moveTo(a, b);
    }
  }
  g.stroke();
};

SeaMap.draw = function () {
  const c = SeaMap.canvas, ratio = window.devicePixelRatio || 1, w = c.clientWidth, h = c.clientHeight;
  if (!w || !h) return;
  if (c.width !== Math.round(w * ratio)) c.width = Math.round(w * ratio);
  if (c.height !== Math.round(h * ratio)) c.height = Math.round(h * ratio);
  const g = c.getContext("2d"), night = document.body.classList.contains("night");
  g.setTransform(ratio, 0, 0, ratio, 0, 0);
  const view = { x: SeaMap.x, y: SeaMap.y, scale: SeaMap.scale, w, h };
  SeaMap.ground(g, view, night);
  SeaMap.graticule(g, view, night);
  SeaMap.depths(g, view, night);
  if (App.every) {
    g.fillStyle = night ? "#ff8a7e" : "#14202b";
    const cols = App.table.columns;
    for (let i = 0; i < Math.min(App.table.n, 8000); i++) g.fillRect((cols.px[i] - view.x) * view.scale - 1, (cols.py[i] - view.y) * view.scale - 1, 2, 2);
  }
  SeaMap.marks = App.marks(SeaMap.most);
  const radius = SeaMap.marks.length > 300 ? 5 : w < 500 ? 6 : 7.5, taken = [];
  for (const m of [...SeaMap.marks].reverse()) {
    const x = (m.px - view.x) * view.scale, y = (m.py - view.y) * view.scale;
    if (x < -20 || y < -20 || x > w + 20 || y > h + 20) continue;
    SeaMap.mark(g, m, x, y, m.id === App.chosen ? radius * 1.5 : radius, night);
  }
  g.font = "bold 12px system-ui, sans-serif";
  g.lineJoin = "round";
  for (const m of SeaMap.marks) {
    const x = (m.px - view.x) * view.scale + (m.id === App.chosen ? radius * 1.5 : radius) + 2, y = (m.py - view.y) * view.scale + 4, words = m.label;
    if (x < 0 || y < 0 || x > w || y > h) continue;
    const box = [x, y - 11, x + words.length * 7.5, y + 2];
    if (taken.some((t) => t[0] < box[2] && box[0] < t[2] && t[1] < box[3] && box[1] < t[3])) continue;
    taken.push(box);
    g.lineWidth = 3.5;
    g.strokeStyle = night ? "#000" : "#fdfcf8";
    g.strokeText(words, x, y);
    g.fillStyle = night ? "#ff8a7e" : "#14202b";
    g.fillText(words, x, y);
  }
  Here.draw(g, view, night);
  if (App.adding) { g.strokeStyle = SeaMap.ink(night).text; g.lineWidth = 2; g.beginPath(); g.moveTo(w / 2 - 14, h / 2); g.lineTo(w / 2 + 14, h / 2); g.moveTo(w / 2, h / 2 - 14); g.lineTo(w / 2, h / 2 + 14); g.stroke(); }
  SeaMap.bar(g, w, h, night);
};
SeaMap.mark = function (g, m, x, y, r, night) {
  SeaMap.outline(g, m.kind, x, y, r);
  g.lineJoin = "round";
  g.lineWidth = m.id === App.chosen ? 7 : 4;
  g.strokeStyle = night ? "#000" : "#fdfcf8";
  g.stroke();
  g.fillStyle = night ? "hsl(5 90% " + (15 + m.score * 0.4) + "%)" : SeaMap.scoreColour(m.score);
  g.fill();
  g.lineWidth = m.id === App.chosen ? 2.6 : 1.2;
  g.strokeStyle = night ? "#ff8a7e" : "#14202b";
  g.stroke();
  if (m.state) {
    g.beginPath();
    if (m.state === "keep") g.arc(x, y, r + 4, 0, 7);
    else { g.moveTo(x - r - 2, y - r - 2); g.lineTo(x + r + 2, y + r + 2); g.moveTo(x - r - 2, y + r + 2); g.lineTo(x + r + 2, y - r - 2); }
    g.lineWidth = 2; g.stroke();
  }
};
