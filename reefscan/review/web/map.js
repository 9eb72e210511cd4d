"use strict";
/* The map's view: where it looks, and fingers, mouse and keys that move it. What it shows is in the list too; the canvas is a second way, never the only one. */
const SeaMap = { scale: 1, x: 0, y: 0, marks: [], most: 1500 };

SeaMap.start = function () {
  SeaMap.canvas = document.getElementById("map");
  SeaMap.fingers();
  SeaMap.keys();
  const canvas = SeaMap.canvas, by = (factor) => () => { SeaMap.zoom(factor, canvas.clientWidth / 2, canvas.clientHeight / 2); App.draw(); View.later(); };
  document.getElementById("zin").onclick = by(1.5);
  document.getElementById("zout").onclick = by(1 / 1.5);
  document.getElementById("zall").onclick = () => { SeaMap.all(); App.draw(); View.later(); };
  let wide = canvas.clientWidth, high = canvas.clientHeight;
  new ResizeObserver(() => {
    if (!SeaMap.fitted) SeaMap.all();
    else SeaMap.look(SeaMap.x + wide / 2 / SeaMap.scale, SeaMap.y + high / 2 / SeaMap.scale, SeaMap.scale); /* the middle stays the middle */
    [wide, high] = [canvas.clientWidth, canvas.clientHeight];
    App.draw();
  }).observe(canvas);
  SeaMap.all();
};
/* A mouse drags the map. One finger is the page's, which scrolls (touch-action); two are the map's. */
SeaMap.fingers = function () {
  const canvas = SeaMap.canvas, pointers = new Map(), hint = document.getElementById("fingers");
  let moved = 0, gap = 0, mid = null;
  const measured = () => { gap = SeaMap.spread(pointers); mid = pointers.size === 2 ? SeaMap.middle(pointers) : null; };
  for (const kind of ["touchstart", "touchmove"]) canvas.addEventListener(kind, (e) => { if (e.touches.length > 1 && e.cancelable) e.preventDefault(); }, { passive: false });
  canvas.addEventListener("pointerdown", (e) => {
    canvas.setPointerCapture(e.pointerId);
    pointers.set(e.pointerId, [e.offsetX, e.offsetY]);
    moved = pointers.size > 1 ? 99 : 0;
    measured();
  });
  canvas.addEventListener("pointermove", (e) => {
    SeaMap.say(e.offsetX, e.offsetY);
    if (!pointers.has(e.pointerId)) return;
    const [px, py] = pointers.get(e.pointerId);
    pointers.set(e.pointerId, [e.offsetX, e.offsetY]);
    moved += Math.abs(e.offsetX - px) + Math.abs(e.offsetY - py);
    if (pointers.size === 1 && e.pointerType !== "touch") SeaMap.shift(e.offsetX - px, e.offsetY - py);
    if (pointers.size === 2) {
      const [oldGap, oldMid] = [gap, mid];
      measured();
      SeaMap.shift(mid[0] - oldMid[0], mid[1] - oldMid[1]);
      if (oldGap > 0 && gap > 0) SeaMap.zoom(gap / oldGap, mid[0], mid[1]);
    }
    App.draw();
  });
  const up = (e) => {
    const single = pointers.size === 1;
    pointers.delete(e.pointerId);
    measured();
    if (e.type === "pointerup" && single && moved < 6) SeaMap.press(e.offsetX, e.offsetY, e.pointerType === "touch" ? 22 : 12);
    if (e.type === "pointercancel" && single && e.pointerType === "touch") {
      hint.hidden = false;
      clearTimeout(SeaMap.hinting);
      SeaMap.hinting = setTimeout(() => { hint.hidden = true; }, 1200);
    }
  };
  canvas.addEventListener("pointerup", up);
  canvas.addEventListener("pointercancel", up);
  canvas.addEventListener("wheel", (e) => { e.preventDefault(); SeaMap.zoom(Math.exp(-e.deltaY * 0.0015), e.offsetX, e.offsetY); App.draw(); View.later(); }, { passive: false });
};
SeaMap.keys = function () {
  const canvas = SeaMap.canvas;
  canvas.addEventListener("keydown", (e) => {
    const w = canvas.clientWidth, h = canvas.clientHeight;
    const act = { ArrowLeft: () => SeaMap.shift(60, 0), ArrowRight: () => SeaMap.shift(-60, 0), ArrowUp: () => SeaMap.shift(0, 60), ArrowDown: () => SeaMap.shift(0, -60),
      "+": () => SeaMap.zoom(1.3, w / 2, h / 2), "=": () => SeaMap.zoom(1.3, w / 2, h / 2), "-": () => SeaMap.zoom(1 / 1.3, w / 2, h / 2), "0": SeaMap.all,
      n: () => App.step(1), p: () => App.step(-1), N: () => App.step(1), P: () => App.step(-1),
      Escape: () => App.adding && Picks.placing(false),
      Enter: () => SeaMap.press(w / 2, h / 2, Math.hypot(w, h) / 2) }[e.key];
    if (!act || e.ctrlKey || e.metaKey || e.altKey) return;
    e.preventDefault();
    act();
    SeaMap.say(w / 2, h / 2);
    App.draw();
  });
};
SeaMap.shift = function (dx, dy) { SeaMap.x -= dx / SeaMap.scale; SeaMap.y -= dy / SeaMap.scale; View.later(); };
SeaMap.look = function (px, py, scale) { SeaMap.scale = scale; SeaMap.x = px - SeaMap.canvas.clientWidth / scale / 2; SeaMap.y = py - SeaMap.canvas.clientHeight / scale / 2; };
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
  SeaMap.look(px, py, SeaMap.scale);
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
