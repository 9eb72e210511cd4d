"use strict";
/* Sites as waypoints: the names, fields and files of "reefscan export", as reefscan.review.takealong and reefscan.io.out write them. */
const Waypoints = {};
/* What goes along, as reefscan.review.picks.apply_picks has it: the kept and those set by hand, or else the list without the dropped. */
Waypoints.sites = function () {
  const ids = App.table.columns.id, all = [...Picks.by.values()], mine = (p) => App.rowOf.has(p.id);
  const kept = new Set(all.filter((p) => p.state === "keep" && !p.added).map((p) => p.id)), added = all.filter((p) => p.added && p.state !== "drop");
  if (!kept.size && !added.length) return App.order.filter((i) => Picks.state(ids[i]) !== "drop").map((i) => ({ i }));
  const listed = App.order.filter((i) => kept.has(ids[i])), missing = [...kept].filter((id) => App.rowOf.has(id) && !App.rankOf[App.rowOf.get(id)]).map((id) => App.rowOf.get(id)).sort((a, b) => a - b);
  return [...[...listed, ...missing].map((i) => ({ i })), ...[...all.filter((p) => p.state === "keep" && !p.added && !mine(p)), ...added].map((hand) => ({ hand }))];
};
/* reefscan.score.ranking.second_to: the rank of the better site of the same place, by row. */
Waypoints.seconds = function () {
  const best = [], out = new Map(), { rank } = App.recipe, feature = App.table.columns.feature_id, xyz = App.table.xyz;
  for (const i of App.order) {
    const near = best.find((k) => { const far = Reef.apart(xyz[k], xyz[i]); return far < rank.place_m || (feature[i] && feature[k] === feature[i] && far < rank.feature_m); });
    if (near === undefined) best.push(i); else out.set(i, App.rankOf[near]);
  }
  return out;
};
/* reefscan.io.out.waypoints.shown: no control characters, nothing that a balloon takes for mark-up, not too long. */
Waypoints.shown = function (text, most = 2000) {
  let bare = [...String(text).replace(/[\p{C}\p{Z}]/gu, " ").trim().replace(/ +/g, " ")];
  if (bare.length > most) bare = [...bare.slice(0, most - 1).join("").trimEnd(), "…"];
  return bare.join("").replaceAll("$[", "$ [").replaceAll("<", "‹").replaceAll(">", "›");
};
Waypoints.told = function (m) {
  const v = m / Words.per[Words.unit];
  if (Words.unit === "fathom") return Words.fixed(v, 1) + " fathoms";
  return Words.fixed(v, Math.abs(v) < (Words.unit === "ft" ? 9.95 : 99.95) ? 1 : 0) + " " + Words.unit;
};
/* Area, rank, kind and, where there is room, depth: as reefscan.review.takealong names a site that was given no name. */
Waypoints.made = function (rank, kind, depth) {
  const { letters, kinds, length } = App.data.naming, stem = letters + String(rank).padStart(Math.max(2, String(App.order.length).length), "0") + (kinds[kind] || "H");
  const tail = depth === null ? "" : String(Math.max(0, Reef.rint(depth / Words.per[Words.unit])));
  return stem.length + tail.length <= length ? stem + tail : stem;
};
/* One point of each site: { name, lon, lat, depth_m, text, kind, words, fields }. */
Waypoints.points = function (sites) {
  const c = App.table.columns, seconds = App.seconds(), per = Words.per[Words.unit];
  let beyond = App.order.length;
  const points = sites.map(({ i, hand }) => {
    const at = (k) => (i === undefined ? (hand[k] ?? null) : c[k] ? c[k][i] : null), id = at("id"), kind = at("kind") || "by hand", depth = Reef.known(at("depth_m")) ? at("depth_m") : null;
    const rank = (i !== undefined && App.rankOf[i]) || null, second = i === undefined ? undefined : seconds.get(i), flags = (i !== undefined && at("flags")) || [];
    const given = Picks.name(id), note = Picks.note(id), number = rank ?? ++beyond, name = given || Waypoints.made(number, kind, depth);
    const text = [given, note, (i !== undefined && App.why(i)) || "", second ? "same place as number " + second : "", flags.length ? "mind: " + flags.map(Words.flag).join(", ") : ""].filter(Boolean).map((t) => t.replace(/\.+$/, "")).join("; ");
    const score = i === undefined ? null : App.scored.score[i], sure = i === undefined || Number.isNaN(App.scored.confidence[i]) ? null : App.scored.confidence[i];
    const fields = { datum: App.data.datum.short, ...(Words.unit === "m" ? {} : { ["depth_" + Words.unit]: depth === null ? null : +Words.fixed(depth / per, 1) }), rank: rank && String(rank), second_to: second ? String(second) : null, score: rank && score, confidence: rank && sure };
    for (const k of Waypoints.fields) if (c[k]) fields[k] = i === undefined && k !== "id" ? (typeof c[k][0] === "string" ? "" : null) : at(k);
    return { name, lon: Waypoints.turned(at("lon")), lat: at("lat"), depth_m: depth, text: Waypoints.shown(text), kind: Waypoints.shown(kind, 120), fields: { ...fields, note }, words: depth === null ? "" : Waypoints.told(depth) + (App.data.datum.named ? " " + App.data.datum.short : " (" + App.data.datum.short + ")") };
  });
  Waypoints.unique(points.map((p) => p.name), App.data.naming.length).forEach((name, k) => { points[k].name = name; });
  return points;
};
Waypoints.turned = (lon) => (lon >= -180 && lon < 180 ? lon : ((((lon + 180) % 360) + 360) % 360) - 180);
Waypoints.fields = ["height_m", "width_m", "off_m", "cross_deg", "facing_deg", "lands_within_m", "cell_m", "id", "feature_id", "source"];
/* reefscan.io.out.waypoints.unique_names. */
Waypoints.unique = function (names, length) {
  const taken = new Set();
  return names.map((raw) => {
    const stem = [...(Waypoints.shown(raw, 120) || "site")].slice(0, length).join("").trim() || "site";
    let name = stem;
    for (let n = 2; taken.has(name.toLowerCase()); n++) name = [...stem].slice(0, length - String(n).length - 1).join("").trimEnd() + "-" + n;
    taken.add(name.toLowerCase());
    return name;
  });
};
Waypoints.title = () => Waypoints.shown("Sites of " + App.data.run);
Waypoints.note = () => Waypoints.shown(App.data.closed_words + " " + App.data.datum.top + " " + App.data.caution);
Waypoints.degrees = function (v) { const text = v.toFixed(7).replace(/0+$/, "").replace(/\.$/, ".0"); return text === "-0.0" ? "0.0" : text; };
/* GPX 1.1; ele is minus the depth. */
Waypoints.gpx = function (points) {
  const plain = (t) => t.replaceAll("&", "&amp;").replaceAll("<", "&lt;").replaceAll(">", "&gt;"), short = App.data.caution_short;
  const out = ['<?xml version="1.0" encoding="UTF-8"?>', '<gpx version="1.1" creator="reefscan" xmlns="http://www.topografix.com/GPX/1/1">', "<metadata><name>" + plain(Waypoints.title()) + "</name><desc>" + plain(Waypoints.note()) + "</desc></metadata>"];
  for (const p of points) {
    const said = [p.words ? "depth " + p.words : "depth unknown", [...p.text].slice(0, 2000 - short.length).join("").replace(/\.+$/, "")].filter(Boolean).join("; ") + ". " + short;
    out.push('<wpt lat="' + Waypoints.degrees(p.lat) + '" lon="' + Waypoints.degrees(p.lon) + '">');
    if (p.depth_m !== null) out.push("<ele>" + Words.fixed(-p.depth_m + 0, 2) + "</ele>");
    out.push("<name>" + plain(p.name) + "</name><desc>" + plain(said) + "</desc>");
    if (App.data.naming.kinds[p.kind]) out.push("<sym>" + plain(p.kind) + "</sym>");
    if (p.kind) out.push("<type>" + plain(p.kind) + "</type>");
    out.push("</wpt>");
  }
  return out.concat("</gpx>\n").join("\n");
};
/* RFC 4180; what a spreadsheet would run as a formula starts with an apostrophe. */
Waypoints.csv = function (points) {
  const inert = (t) => (/^\s*[=+\-@|%\t\r]/.test(t) ? "'" + t : t), quoted = (t) => (/[",\r\n]/.test(t) ? '"' + t.replaceAll('"', '""') + '"' : t);
  const said = (v) => (v === null || v === undefined ? "" : typeof v === "number" ? (Number.isInteger(v) ? v.toFixed(1) : String(v)) : /^\d+$/.test(v) ? v : inert(Waypoints.shown(v)));
  const extra = points.map((p) => { const [lat, lon] = Words.ddm(p.lat, p.lon).replace(/[°']/g, "").split("  "); return { lat_minutes: lat, lon_minutes: lon, ...p.fields, caution: App.data.caution_short, remark: App.data.closed_words + " " + App.data.datum.top }; });
  const heads = ["name", "lon", "lat", "depth_m", "kind", "text", ...Object.keys(extra[0] || {})];
  const rows = points.map((p, k) => [inert(p.name), Waypoints.degrees(p.lon), Waypoints.degrees(p.lat), p.depth_m === null ? "" : Words.fixed(p.depth_m, 2), inert(p.kind), inert(p.text), ...Object.values(extra[k]).map(said)]);
  return [heads, ...rows].map((row) => row.map(quoted).join(",") + "\r\n").join("");
};
/* To be read by eye: one line a site. */
Waypoints.text = function (points) {
  const line = (p) => p.name.padEnd(App.data.naming.length) + "  " + Words.ddm(p.lat, p.lon) + "  " + (p.depth_m === null ? "depth unknown" : Waypoints.told(p.depth_m)) + "  " + p.kind + (p.fields.note ? "  " + Waypoints.shown(p.fields.note) : "");
  return [Waypoints.title(), Waypoints.note(), "", ...points.map(line)].join("\n") + "\n";
};
