"use strict";
/* The bottom of one site as a sounder would draw it on that heading, and the small map around it. */
Card.profile = function (i, wide) {
  const section = App.data.sections[i], row = section && section.depths, fig = make("figure", { style: "margin:8px 0" });
  if (!row || !row.some(Reef.known)) { fig.append(make("p", { class: "quiet" }, "No profile is stored for this site.")); return fig; }
  /* as wide as it is shown, so that its letters are as large as they are said to be */
  const W = wide || Math.min(640, document.getElementById("card").clientWidth || 520), H = 230, L = 46, R = 8, B = 34, half = section.half_m, n = row.length, known = row.filter(Reef.known);
  const band = App.band(), per = Words.per[Words.unit], [top, deep] = Card.drawn(Math.min(...known) / per, Math.max(...known) / per, (2 * half) / per).map((v) => v * per), T = top < 0 ? 32 : 16; /* over dry ground there is room for words */
  const x = (m) => L + ((m + half) / (2 * half)) * (W - L - R), y = (d) => T + ((d - top) / (deep - top)) * (H - T - B);
  const c = App.table.columns, heading = section.bearing;
  const depth = c.depth_m[i];
  const words = "Bottom along heading " + Words.degrees(heading) + " true, " + Words.length(2 * half) + " long: " + Words.level(Math.min(...known)) + " to " + Words.depth(Math.max(...known)) + ", drop point in the middle at " + Words.depth(depth) + Card.marked(section.marks) + (top > 0 ? ". The water above " + Words.depth(top) + " is not drawn." : ".");
  const s = svg("svg", { viewBox: "0 0 " + W + " " + H, role: "img", "aria-label": words });
  const text = (t, px, py, anchor, extra) => s.append(svg("text", { x: px, y: py, "text-anchor": anchor || "middle", "font-size": 12, fill: "var(--ink)", ...(extra || {}) }, t));
  const lo = Math.max(band[0], top), hi = Math.min(band[1], deep);
  if (hi > lo) { s.append(svg("rect", { x: L, y: y(lo), width: W - L - R, height: y(hi) - y(lo), fill: "var(--tint)" })); }
  for (const d of [lo, hi]) if (hi > lo) s.append(svg("line", { x1: L, x2: W - R, y1: y(d), y2: y(d), stroke: "var(--quiet)", "stroke-dasharray": "5 4" }));
  let run = [], paths = [];
  row.forEach((d, k) => { if (Reef.known(d)) run.push([x(-half + (2 * half * k) / (n - 1)), y(Math.max(d, top))]); else if (run.length) { paths.push(run); run = []; } });
  if (run.length) paths.push(run);
  for (const p of paths) {
    s.append(svg("path", { d: "M" + p.map((q) => q.map((v) => v.toFixed(1)).join(" ")).join("L") + "L" + p[p.length - 1][0].toFixed(1) + " " + (H - B) + "L" + p[0][0].toFixed(1) + " " + (H - B) + "Z", fill: "var(--line)" }));
    s.append(svg("path", { d: "M" + p.map((q) => q.map((v) => v.toFixed(1)).join(" ")).join("L"), fill: "none", stroke: "var(--ink)", "stroke-width": 2.2 }));
  }
  /* over the ground, and above its line where there is room: the ground may reach into the band */
  if (hi > lo) text("depth band", W - R - 4, y(lo) - 5 > T + 8 ? y(lo) - 5 : y(lo) + 13, "end", { fill: "var(--quiet)" });
  const close = (m, what) => section.marks.find(([o, w]) => w === what && o !== m && Math.abs(o - m) * (W - L - R) < 28 * 2 * half);
  for (const [m, what] of section.marks) {
    const d = row[Math.round(((m + half) / (2 * half)) * (n - 1))];
    if (Math.abs(m) > half || !Reef.known(d)) continue;
    s.append(svg("line", { class: "told", x1: x(m), x2: x(m), y1: y(Math.max(d, top)) - 16, y2: y(Math.max(d, top)) + 5, stroke: "var(--ink)", "stroke-width": 1.4 }));
    const beside = close(m, what); /* two equal words go apart from each other */
    text(what, x(m), y(Math.max(d, top)) - 19, beside ? (m < beside[0] ? "end" : "start") : "middle", { "font-size": 11 });
  }
  if (Reef.known(depth)) {
    s.append(svg("path", { d: "M" + x(0) + " " + (y(depth) - 2) + "l-7 -13h14z", fill: "var(--paper)", stroke: "var(--ink)", "stroke-width": 2 }));
  }
  if (top <= 0) s.append(svg("line", { x1: L, x2: W - R, y1: y(0), y2: y(0), stroke: "var(--ink)" }));
  const step = Math.max(0.5, Card.round((deep - top) / per / 4)) * per;
  for (let d = step * Math.ceil(Math.max(0, top) / step - 1e-9); d <= deep; d += step) { s.append(svg("line", { x1: L - 4, x2: L, y1: y(d), y2: y(d), stroke: "var(--ink)" })); text(Words.halves(d / per), L - 7, y(d) + 4, "end"); }
  const long = Words.unit === "m" ? 1 : 0.3048, stride = Card.round(half / long / 2) * long;
  for (let k = -Math.floor(half / stride + 1e-9); k * stride <= half * 1.000001; k++) {
    s.append(svg("line", { x1: x(k * stride), x2: x(k * stride), y1: H - B, y2: H - B + 5, stroke: "var(--ink)" }));
    text(k === 0 ? "drop point" : Words.length(Math.abs(k * stride)), x(k * stride), H - 17);
  }
  text(Words.unit, 4, 12, "start");
  if (top > 0) text("cut off above " + Words.halves(top / per) + " " + Words.unit, L + 4, T + 12, "start", { "font-size": 11, fill: "var(--quiet)" });
  text("heading " + Words.degrees(heading) + " true →", (L + W - R) / 2, H - 3);
  fig.append(s, make("figcaption", { class: "quiet" }, words + " " + App.data.datum.top + " No rope is drawn."));
  return fig;
};
/* reefscan.render.profile.drawn_depths: where the picture begins and ends, in the unit shown. */
Card.drawn = function (shallowest, deepest, length) {
  const high = Math.max((deepest - shallowest) / 0.45, 0.1 * length), step = Words.nice(high / 3), above = step * Math.floor((deepest - high) / step);
  if (above > 0.3 * deepest) return [above, deepest + 0.12 * high];
  return [Math.max(-0.15 * deepest, Math.min(0, shallowest)), 1.12 * deepest];
};
Card.marked = (marks) => marks.map(([m, what]) => ", " + what + " of the face at " + Words.length(Math.abs(m)) + (m < 0 ? " before it" : " beyond it")).join("");
Card.round = (v) => { const p = 10 ** Math.floor(Math.log10(Math.max(v, 1e-9))); return [1, 2, 5, 10].map((k) => k * p).find((k) => k >= v * 0.999); };
/* Drawn when it stands in the page and has a width, or at once where the width is given. */
Card.mini = function (i, width) {
  const c = App.table.columns, canvas = make("canvas", { class: "mini", role: "img", "aria-label": "Small map around the site, " + Words.length(400) + " wide" });
  const draw = () => {
    const w = width || canvas.clientWidth || 320, h = 190, ratio = width ? 2 : window.devicePixelRatio || 1, night = !width && document.body.classList.contains("night");
    canvas.width = w * ratio; canvas.height = h * ratio;
    const g = canvas.getContext("2d"), scale = (w * App.data.picture.cell_m) / 400;
    g.setTransform(ratio, 0, 0, ratio, 0, 0);
    SeaMap.ground(g, { x: c.px[i] - w / 2 / scale, y: c.py[i] - h / 2 / scale, scale, w, h }, night);
    const section = App.data.sections[i];
    if (section) {
      const a = (section.bearing * Math.PI) / 180, r = (section.half_m * w) / 400;
      g.setLineDash([7, 4]); g.lineWidth = 2; g.strokeStyle = night ? "#ff8a7e" : "#14202b";
      g.beginPath(); g.moveTo(w / 2 - Math.sin(a) * r, h / 2 + Math.cos(a) * r); g.lineTo(w / 2 + Math.sin(a) * r, h / 2 - Math.cos(a) * r); g.stroke(); g.setLineDash([]);
    }
    SeaMap.mark(g, { kind: c.kind[i], score: App.scored.score[i], id: c.id[i], state: Picks.state(c.id[i]) }, w / 2, h / 2, 8, night);
  };
  if (width) draw(); else requestAnimationFrame(draw);
  return canvas;
};
