"use strict";
/* Numbers as people read them, and small builders. Text always goes in as text, never as markup. */
const Words = { unit: "m" };
Words.per = { m: 1, ft: 0.3048, fathom: 1.8288 };
Words.depth = (m, places) => (Reef.known(m) ? Words.fixed(m / Words.per[Words.unit], places ?? (Words.unit === "ft" ? 0 : 1)) + " " + Words.unit : "unknown");
Words.length = (m) => (Reef.known(m) ? (Words.unit === "m" ? Words.fixed(m, 0) + " m" : Words.fixed(m / 0.3048, 0) + " ft") : "unknown");
/* As Python prints it: an exact half goes to the even digit. */
Words.fixed = function (v, places) {
  const whole = Math.abs(v) * 10 ** places, tie = whole % 1 === 0.5 && Number.isInteger(v * 2 ** (places + 1));
  return tie ? ((Math.sign(v) * Reef.rint(whole)) / 10 ** places).toFixed(places) : v.toFixed(places);
};
/* The largest of 1, 2, 5 times a power of ten that is no more than v. */
Words.nice = function (v) { const p = 10 ** Math.floor(Math.log10(v) + 1e-9); return [5, 2, 1].map((k) => k * p).find((k) => k <= v * 1.000001); };
Words.MILE = 1852;  // international nautical mile, exact by definition
/* A round length no longer than so many metres, in metres and in words; feet become miles where there are many. */
Words.rule = function (most) {
  if (Words.unit === "m") { const v = Words.nice(most); return [v, v >= 1000 ? v / 1000 + " km" : v + " m"]; }
  const miles = most / Words.MILE, v = miles >= 0.5 ? (miles < 1 ? 0.5 : Words.nice(miles)) : Words.nice(most / 0.3048);
  return miles >= 0.5 ? [v * Words.MILE, v + " nmi"] : [v * 0.3048, v + " ft"];
};
Words.far = (m) => (Words.unit === "m" ? (m < 1000 ? m.toFixed(0) + " m" : (m / 1000).toFixed(1) + " km") : m < Words.MILE / 2 ? (m / 0.3048).toFixed(0) + " ft" : (m / Words.MILE).toFixed(1) + " nmi");
Words.halves = (v) => String(Math.round(v * 2) / 2);
Words.lost = (off, position) => Reef.known(off) && Reef.known(position) && off < position;  // lost_in_doubt of reefscan.score.reasons
Words.sure = (p) => (p >= 0.995 ? ">99 %" : p < 0.005 ? "<1 %" : Math.round(p * 100) + " %");  // nothing measured from a boat is certain
/* A flag as reefscan.base.flags says it. */
Words.flag = (flag) => App.data.flag_words[flag] ?? (flag.startsWith("unknown-") ? "not known: " + flag.slice(8).replaceAll("-", " ") : flag.replaceAll("-", " "));
/* What a term judges, as reefscan.base.terms calls it. */
Words.term = (name) => App.data.term_words[name] ?? name.replaceAll("_", " ");
/* A depth that may be dry ground. */
Words.level = (m) => (m < 0 ? Words.depth(-m) + " above zero" : Words.depth(m));
Words.degrees = (v) => (Reef.known(v) ? String(Math.round(v)).padStart(3, "0") + "°" : "unknown");
Words.steep = (v) => v.toFixed(1) + "°";
Words.split = function (v, decimals, parts) {
  const factor = 10 ** decimals, unit = parts === 2 ? 60 : 3600, whole = Math.round(Math.abs(v) * unit * factor);
  const deg = Math.floor(whole / (unit * factor)), rest = whole - deg * unit * factor;
  if (parts === 2) return [deg, (rest / factor).toFixed(decimals)];
  const min = Math.floor(rest / (60 * factor));
  return [deg, String(min).padStart(2, "0"), ((rest - min * 60 * factor) / factor).toFixed(decimals)];
};
/* One latitude or longitude with as many decimals of a minute as its step asks for. */
Words.minutes = function (v, step, names) {
  const [d, m] = Words.split(v, step < 0.1 ? 2 : step < 1 ? 1 : 0, 2);
  return d + "°" + m.padStart(step < 1 ? (step < 0.1 ? 5 : 4) : 2, "0") + "'" + (v < 0 ? names[1] : names[0]);
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
/* Longitude and latitude of a place as people write one; null if it is none. As reefscan.base.degrees.read_place reads it. */
Words.readPlace = function (text) {
  const degrees = /^([+-]?\d+(?:\.\d+)?)°?\s*([NS]?)[\s,;]+([+-]?\d+(?:\.\d+)?)°?\s*([EW]?)$/i, minutes = /^(\d+)[°\s]\s*(\d+(?:\.\d+)?)['′]?\s*([NS])[\s,;]*(\d+)[°\s]\s*(\d+(?:\.\d+)?)['′]?\s*([EW])$/i;
  const bare = text.trim(), d = degrees.exec(bare), m = d ? null : minutes.exec(bare), back = (letter) => /^[SW]$/i.test(letter);
  let lat = NaN, lon = NaN;
  if (d) [lat, lon] = [[d[1], d[2]], [d[3], d[4]]].map(([v, letter]) => (back(letter) ? -Math.abs(+v) : +v));
  else if (m && Math.max(+m[2], +m[5]) < 60) [lat, lon] = [[m[1], m[2], m[3]], [m[4], m[5], m[6]]].map(([a, b, letter]) => (+a + b / 60) * (back(letter) ? -1 : 1));
  return Math.abs(lat) <= 90 && Math.abs(lon) <= 180 ? [lon, lat] : null;
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
