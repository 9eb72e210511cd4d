"use strict";
/* The list: the map's twin in text. Built a hundred rows at a time, so that it follows a slider. */
const List = { key: "rank", down: false, rows: 100 };
List.heads = [
  ["rank", "No.", true], ["name", "Site", false], ["depth_m", "Depth", true],
  ["height_m", "Height", true], ["score", "Score", true], ["confidence", "Sure", true],
];
List.big = ["height_m", "confidence"]; /* columns for a wide window */
List.start = function () {
  const tr = document.querySelector("#list thead tr");
  for (const [key, words, numeric] of List.heads) {
    const th = make("th", { scope: "col", class: key + (numeric ? " n" : "") + (List.big.includes(key) ? " big" : "") });
    th.append(make("button", { type: "button", onclick: () => { List.down = List.key === key ? !List.down : key === "score" || key === "height_m" || key === "confidence"; List.key = key; List.fill(); View.later(); } }, words));
    th.dataset.key = key;
    tr.append(th);
  }
  const kinds = [...new Set(App.table.columns.kind)].sort();
  for (const k of kinds) document.getElementById("kind").append(make("option", { value: k }, k));
  for (const id of ["find", "kind", "scope"]) for (const event of ["input", "change"]) document.getElementById(id).addEventListener(event, () => { List.rows = 100; List.fill(); App.draw(); });
  document.getElementById("more").onclick = () => { List.rows += 200; List.fill(); };
};
List.value = function (i, key) {
  if (key === "rank") return App.rankOf[i] || Infinity;
  if (key === "name") return App.label(i).toLowerCase();
  if (key === "score") return App.scored.points[i];
  if (key === "confidence") return App.scored.confidence[i];
  return (App.table.columns[key] || [])[i];
};
List.chosenRows = function () {
  const scope = document.getElementById("scope").value, kind = document.getElementById("kind").value;
  const words = document.getElementById("find").value.trim().toLowerCase(), cols = App.table.columns;
  let rows = scope === "listed" || scope === "best" ? App.listed() : [...Array(App.table.n).keys()];
  if (scope === "keep" || scope === "drop") rows = rows.filter((i) => Picks.state(cols.id[i]) === scope);
  if (kind) rows = rows.filter((i) => cols.kind[i] === kind);
  if (words) rows = rows.filter((i) => [cols.id[i], App.label(i), App.why(i), Picks.note(cols.id[i]), cols.kind[i]].join(" ").toLowerCase().includes(words));
  if (List.key !== "rank" || List.down || (scope !== "listed" && scope !== "best")) {
    const sign = List.down ? -1 : 1;
    const keyed = rows.map((i) => [List.value(i, List.key), i]);
    const blank = (v) => v === null || v === undefined || Number.isNaN(v) || v === Infinity;
    keyed.sort(([a, i], [b, j]) => blank(a) - blank(b) || (blank(a) ? App.scored.points[j] - App.scored.points[i] : (a < b ? -1 : a > b ? 1 : 0) * sign) || i - j);
    rows = keyed.map(([, i]) => i);
  }
  return rows;
};
List.fill = function () {
  const rows = List.chosenRows(), body = document.querySelector("#list tbody"), cols = App.table.columns;
  const out = document.createDocumentFragment();
  for (const i of rows.slice(0, List.rows)) {
    const id = cols.id[i], state = Picks.state(id), conf = App.scored.confidence[i];
    const second = App.seconds().get(i), words = App.label(i) + (second ? ", near " + second : ""), number = App.rankOf[i] ? String(App.rankOf[i]) : "–", depth = Words.depth(cols.depth_m[i]), score = App.scored.score[i].toFixed(1);
    const tr = make("tr", { class: [state === "drop" ? "dropped" : "", id === App.chosen ? "here" : ""].join(" "), onclick: () => App.choose(id, { show: true }) });
    tr.dataset.id = id;
    const told = (App.rankOf[i] ? "Number " + number : "Not listed") + ", " + words + ", depth " + depth + ", score " + score + (state ? ", " + (state === "keep" ? "kept" : "dropped") : "");
    tr.append(
      make("td", { class: "n rank" }, number),
      make("td", { class: "name" }, make("button", { type: "button", class: "site", "data-id": id, "aria-label": told, "aria-current": id === App.chosen ? "true" : "false" }, (state ? (state === "keep" ? "✓ " : "✗ ") : "") + words)),
      make("td", { class: "n depth_m" }, depth),
      make("td", { class: "n height_m big" }, cols.height_m ? Words.depth(cols.height_m[i], 1) : "unknown"),
      make("td", { class: "n score" }, score),
      make("td", { class: "n confidence big" }, Number.isNaN(conf) ? "?" : Words.sure(conf)),
    );
    out.append(tr);
  }
  App.refill(body, () => body.replaceChildren(out));
  document.querySelectorAll("#list th").forEach((th) => {
    if (th.dataset.key === List.key) th.setAttribute("aria-sort", List.down ? "descending" : "ascending");
    else th.removeAttribute("aria-sort");
  });
  const n = App.table.n, shown = Math.min(rows.length, List.rows);
  let words = n === 0 ? "This run found no site." : App.order.length + " of " + n + " candidates are listed by this recipe; " + shown + " of " + rows.length + " rows shown.";
  if (App.order.length > SeaMap.most) words += " The map draws the best " + SeaMap.most + "; the list and its search hold all.";
  if (n && !App.order.length) words += " The recipe leaves none: widen the depth band or lower the heights.";
  document.getElementById("count").textContent = words;
  App.tell(App.order.length + " sites are listed.");
  document.getElementById("more").hidden = rows.length <= List.rows;
};
