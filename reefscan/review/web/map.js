"use strict";
/* The drawn map. What it shows is in the list too; the canvas is a second way, never the only one. */
const SeaMap = { scale: 1, x: 0, y: 0, marks: [], most: 1500 };

SeaMap.scoreStops = [[0, [255, 250, 220]], [0.4, [253, 214, 120]], [0.7, [240, 138, 44]], [0.9, [196, 60, 24]], [1, [128, 16, 24]]];
SeaMap.scoreColour = function (score) {
  const t = Math.min(1, Math.max(0, score / 100)), s = SeaMap.scoreStops;
  let k = 1;
  while (k < s.length - 1 && t > s[k][0]) k++;
  const f = (t - s[k - 1][0]) / (s[k][0] - s[k - 1][0]);
  return "rgb(" + s[k][1].map((v, i) => Math.round(s[k - 1][1][i] + (v - s[k - 1][1][i]) * f)).join(",") + ")";
};

SeaMap.start = function () {
  const canvas = document.getElementById("map");
  SeaMap.canvas = canvas;
  const pointers = new Map();
  let moved = 0, gap = 0;
  canvas.addEventListener("pointerdown", (e) => {
    canvas.setPointerCapture(e.pointerId);
    pointers.set(e.pointerId, [e.offsetX, e.offsetY]);
    moved = 0;
    gap = SeaMap.spread(pointers);
  });
  canvas.addEventListener("pointermove", (e) => {
    SeaMap.say(e.offsetX, e.offsetY);
    if (!pointers.has(e.pointerId)) return;
    const [px, py] = pointers.get(e.pointerId);
    pointers.set(e.pointerId, [e.offsetX, e.offsetY]);
    moved += Math.abs(e.offsetX - px) + Math.abs(e.offsetY - py);
    if (pointers.size === 1) {
      SeaMap.x -= (e.offsetX - px) / SeaMap.scale;
      SeaMap.y -= (e.offsetY - py) / SeaMap.scale;
    } else {
      const now = SeaMap.spread(pointers), mid = SeaMap.middle(pointers);
      if (gap > 0 && now > 0) SeaMap.zoom(now / gap, mid[0], mid[1]);
      gap = now;
    }
    App.draw();
  });
  const up = (e) => {
    const single = pointers.size === 1;
    pointers.delete(e.pointerId);
    gap = SeaMap.spread(pointers);
    if (e.type === "pointerup" && single && moved < 6) SeaMap.press(e.offsetX, e.offsetY, e.pointerType === "touch" ? 22 : 12);
  };
  canvas.addEventListener("pointerup", up);
  canvas.addEventListener("pointercancel", up);
  canvas.addEventListener("wheel", (e) => { e.preventDefault(); SeaMap.zoom(Math.exp(-e.deltaY * 0.0015), e.offsetX, e.offsetY); App.draw(); }, { passive: false });
  canvas.addEventListener("keydown", (e) => {
    const w = canvas.clientWidth, h = canvas.clientHeight, step = 60 / SeaMap.scale;
    const act = { ArrowLeft: () => (SeaMap.x -= step), ArrowRight: () => (SeaMap.x += step), ArrowUp: () => (SeaMap.y -= step), ArrowDown: () => (SeaMap.y += step),
      "+": () => SeaMap.zoom(1.3, w / 2, h / 2), "=": () => SeaMap.zoom(1.3, w / 2, h / 2), "-": () => SeaMap.zoom(1 / 1.3, w / 2, h / 2), "0": SeaMap.all,
      n: () => App.step(1), p: () => App.step(-1), N: () => App.step(1), P: () => App.step(-1),
      Enter: () => App.adding && SeaMap.press(w / 2, h / 2, 0) }[e.key];
    if (!act || e.ctrlKey || e.metaKey || e.altKey) return;
    e.preventDefault();
    act();
    App.draw();
  });
  document.getElementById("zin").onclick = () => { SeaMap.zoom(1.5, canvas.clientWidth / 2, canvas.clientHeight / 2); App.draw(); };
  document.getElementById("zout").onclick = () => { SeaMap.zoom(1 / 1.5, canvas.clientWidth / 2, canvas.clientHeight / 2); App.draw(); };
  document.getElementById("zall").onclick = () => { SeaMap.all(); App.draw(); };
  new ResizeObserver(() => { if (!SeaMap.fitted) SeaMap.all(); App.draw(); }).observe(canvas);
  SeaMap.all();
};
SeaMap.spread = (p) => { const v = [...p.values()]; return v.length === 2 ? Math.hypot(v[0][0] - v[1][0], v[0][1] - v[1][1]) : 0; };
SeaMap.middle = (p) => { const v = [...p.values()]; return [(v[0][0] + v[1][0]) / 2, (v[0][1] + v[1][1]) / 2]; };
SeaMap.zoom = function (by, cx, cy) {
  const next = Math.min(60, Math.max(SeaMap.least * 0.5, SeaMap.scale * by)), f = next / SeaMap.scale;
  SeaMap.x += (cx / SeaMap.scale) * (1 - 1 / f);
  SeaMap.y += (cy / SeaMap.scale) * (1 - 1 / f);
  SeaMap.scale = next;
};
SeaMap.all = function () {
  const p = App.data.picture, c = SeaMap.canvas;
  if (!c.clientWidth) return;
  SeaMap.scale = SeaMap.least = Math.min(c.clientWidth / p.width, c.clientHeight / p.height) * 0.98;
  SeaMap.x = p.width / 2 - c.clientWidth / SeaMap.scale / 2;
  SeaMap.y = p.height / 2 - c.clientHeight / SeaMap.scale / 2;
  SeaMap.fitted = true;
};
SeaMap.goTo = function (px, py) {
  const c = SeaMap.canvas;
  SeaMap.scale = Math.max(SeaMap.scale, Math.min(8, (c.clientWidth * App.data.picture.cell_m) / 700));
  SeaMap.x = px - c.clientWidth / SeaMap.scale / 2;
  SeaMap.y = py - c.clientHeight / SeaMap.scale / 2;
};
SeaMap.lonlat = function (px, py) {
  const l = App.data.lattice, p = App.data.picture, n = l.n - 1;
  const u = (px / p.width) * n, v = (py / p.height) * n;
  const i = Math.min(n - 1, Math.max(0, Math.floor(u))), j = Math.min(n - 1, Math.max(0, Math.floor(v))), fu = u - i, fv = v - j;
  const at = (a) => { const k = j * l.n + i; return (a[k] * (1 - fu) + a[k + 1] * fu) * (1 - fv) + (a[k + l.n] * (1 - fu) + a[k + l.n + 1] * fu) * fv; };
  return [((at(l.lon) + 540) % 360) - 180, at(l.lat)];
};
SeaMap.say = function (cx, cy) {
  const [lon, lat] = SeaMap.lonlat(SeaMap.x + cx / SeaMap.scale, SeaMap.y + cy / SeaMap.scale);
  document.getElementById("where").textContent = Words.ddm(lat, lon);
};
SeaMap.press = function (cx, cy, reach) {
  const px = SeaMap.x + cx / SeaMap.scale, py = SeaMap.y + cy / SeaMap.scale;
  if (App.adding) return Picks.add(px, py);
  let best = null, near = reach;
  for (const m of SeaMap.marks) {
    const d = Math.hypot((m.px - px) * SeaMap.scale, (m.py - py) * SeaMap.scale);
    if (d < near) { near = d; best = m.id; }
  }
  if (best !== null) App.choose(best, { fromMap: true });
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
  SeaMap.closed(g, view);
  if (night) {
    g.globalCompositeOperation = "saturation"; g.fillStyle = "#808080"; g.fillRect(0, 0, w, h);
    g.globalCompositeOperation = "multiply"; g.fillStyle = "#8c1a10"; g.fillRect(0, 0, w, h);
    g.globalCompositeOperation = "source-over";
  }
};
/* Closed ground: ringed and shaded. */
SeaMap.closed = function (g, { x, y, scale }) {
  if (!App.data.closed) return;
  g.beginPath();
  for (const area of App.data.closed.areas) {
    area.px = area.px || area.rings.map((ring) => { const out = []; for (let k = 0; k < ring.length; k += 2) out.push(App.place(ring[k], ring[k + 1])); return out; });
    for (const ring of area.px) { ring.forEach(([a, b], k) => (k ? g.lineTo((a - x) * scale, (b - y) * scale) : g.moveTo((a - x) * scale, (b - y) * scale))); g.closePath(); }
  }
  g.fillStyle = "rgba(140,20,32,.22)"; g.fill("evenodd");
  g.strokeStyle = "#fdfcf8"; g.lineWidth = 3.5; g.stroke();
  g.strokeStyle = "#8c1420"; g.lineWidth = 1.8; g.stroke();
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
    const x = (m.px - view.x) * view.scale + radius + 2, y = (m.py - view.y) * view.scale + 4, words = m.label;
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
SeaMap.bar = function (g, w, h, night) {
  const perPx = App.data.picture.cell_m / SeaMap.scale, want = Math.min(w * 0.25, 160) * perPx, power = 10 ** Math.floor(Math.log10(want));
  const len = [5, 2, 1].map((k) => k * power).find((v) => v <= want) || power, px = len / perPx;
  g.fillStyle = night ? "rgba(0,0,0,.75)" : "rgba(253,252,248,.85)"; g.fillRect(8, h - 34, px + 16, 26);
  g.fillStyle = night ? "#ff8a7e" : "#14202b"; g.fillRect(16, h - 15, px, 3); g.fillRect(16, h - 19, 1.5, 7); g.fillRect(16 + px - 1.5, h - 19, 1.5, 7);
  g.font = "11px system-ui, sans-serif"; g.fillText(len >= 1000 ? len / 1000 + " km" : len + " m", 16, h - 21);
  g.beginPath(); g.moveTo(w - 20, 12); g.lineTo(w - 27, 34); g.lineTo(w - 20, 28); g.lineTo(w - 13, 34); g.closePath();
  g.strokeStyle = night ? "#000" : "#fdfcf8"; g.lineWidth = 3; g.stroke(); g.fill(); g.fillText("N", w - 24, 47);
};
