"use strict";
/* Numbers as people read them, and small builders. Text always goes in as text, never as markup. */
const Words = { unit: "m" };
Words.per = { m: 1, ft: 0.3048, fathom: 1.8288 };
Words.depth = (m, places) => (Reef.known(m) ? (m / Words.per[Words.unit]).toFixed(places ?? (Words.unit === "ft" ? 0 : 1)) + " " + Words.unit : "unknown");
Words.length = (m) => (Reef.known(m) ? (Words.unit === "m" ? m.toFixed(0) + " m" : (m / 0.3048).toFixed(0) + " ft") : "unknown");
Words.lost = (off, position) => Reef.known(off) && Reef.known(position) && off < position;  // lost_in_doubt of scoring_words.py
Words.sure = (p) => (p >= 0.995 ? ">99 %" : p < 0.005 ? "<1 %" : Math.round(p * 100) + " %");  // nothing measured from a boat is certain
Words.degrees = (v) => (Reef.known(v) ? String(Math.round(v)).padStart(3, "0") + "°" : "unknown");
Words.steep = (v) => v.toFixed(1) + "°";
Words.split = function (v, decimals, parts) {
  const factor = 10 ** decimals, unit = parts === 2 ? 60 : 3600, whole = Math.round(Math.abs(v) * unit * factor);
  const deg = Math.floor(whole / (unit * factor)), rest = whole - deg * unit * factor;
  if (parts === 2) return [deg, (rest / factor).toFixed(decimals)];
  const min = Math.floor(rest / (60 * factor));
  return [deg, String(min).padStart(2, "0"), ((rest - min * 60 * factor) / factor).toFixed(decimals)];
};
Words.dd = (lat, lon) => lat.toFixed(6) + ", " + lon.toFixed(6);
Words.ddm = function (lat, lon) {
  const one = (v, p, n) => { const [d, m] = Words.split(v, 3, 2); return String(d).padStart(p, "0") + "° " + m.padStart(6, "0") + "' " + (v < 0 ? n[1] : n[0]); };
  return one(lat, 2, "NS") + "  " + one(lon, 3, "EW");
};
Words.dms = function (lat, lon) {
  const one = (v, p, n) => { const [d, m, s] = Words.split(v, 1, 3); return String(d).padStart(p, "0") + "° " + m + "' " + s.padStart(4, "0") + '" ' + (v < 0 ? n[1] : n[0]); };
  return one(lat, 2, "NS") + "  " + one(lon, 3, "EW");
};
function make(tag, props, ...children) {
  const el = document.createElement(tag);
  for (const [k, v] of Object.entries(props || {})) {
    if (k.startsWith("on")) el.addEventListener(k.slice(2), v);
    else if (k in el && typeof v !== "string") el[k] = v;
    else el.setAttribute(k, v);
  }
  for (const c of children.flat()) if (c !== null && c !== undefined) el.append(c);
  return el;
}
function svg(tag, props, ...children) {
  const el = document.createElementNS("http://www.w3.org/2000/svg", tag);
  for (const [k, v] of Object.entries(props || {})) el.setAttribute(k, v);
  el.append(...children);
  return el;
}
function download(name, type, text) {
  const url = URL.createObjectURL(new Blob([text], { type }));
  const a = make("a", { href: url, download: name });
  document.body.append(a);
  a.click();
  a.remove();
  setTimeout(() => URL.revokeObjectURL(url), 20000);
  window.lastDownload = { name, text };
}
