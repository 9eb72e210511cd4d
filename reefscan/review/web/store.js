"use strict";
/* What a reload leaves as it was: sliders, the chosen site, what is looked at. Where the browser stores nothing, nothing is said. */
const Store = {};
Store.get = (key) => { try { return localStorage.getItem("reefscan-" + key); } catch { return null; } };
Store.set = function (key, text) { try { localStorage.setItem("reefscan-" + key, text); return true; } catch { return false; } };
const View = { waiting: null };
View.key = () => "view:" + App.data.run;
View.text = function () {
  const m = SeaMap, c = m.canvas, open = (k, v) => (v === Infinity ? "inf" : v === -Infinity ? "-inf" : v);
  const map = [m.x + c.clientWidth / 2 / m.scale, m.y + c.clientHeight / 2 / m.scale, m.scale];
  return JSON.stringify({ from: App.data.recipe, recipe: App.recipe, chosen: App.chosen, tab: App.open, map, sort: [List.key, List.down] }, open);
};
/* Called by what a person does, never by drawing: a page that is only opened stores nothing. */
View.later = function () {
  if (View.waiting === null) View.waiting = setTimeout(View.save, 300);
};
View.save = function () {
  clearTimeout(View.waiting);
  View.waiting = null;
  Store.set(View.key(), View.text());
};
View.start = function () {
  window.addEventListener("pagehide", () => { if (View.waiting !== null) View.save(); });
  let saved;
  try { saved = JSON.parse(Store.get(View.key())); } catch { return; }
  if (!saved || typeof saved !== "object") return;
  /* sliders belong to the recipe that they were moved from; another scan of the same name starts with its own */
  if (JSON.stringify(saved.from) === JSON.stringify(App.data.recipe) && View.sound(saved.recipe)) App.recipe = Reef.readRecipe(saved.recipe);
  if (App.rowOf.has(saved.chosen) || Picks.added.has(saved.chosen)) App.chosen = saved.chosen;
  if (Array.isArray(saved.sort) && List.heads.some(([key]) => key === saved.sort[0])) [List.key, List.down] = [saved.sort[0], saved.sort[1] === true];
  if (Array.isArray(saved.map) && saved.map.length === 3 && saved.map.every(Number.isFinite) && saved.map[2] > 0) SeaMap.look(...saved.map);
  if (App.tabs.includes(saved.tab)) App.open = saved.tab;
};
View.sound = function (recipe) {
  const terms = recipe && recipe.score && recipe.score.terms, rank = recipe && recipe.rank;
  if (!terms || !rank || Object.keys(terms).join() !== Object.keys(App.data.recipe.score.terms).join()) return false;
  const corner = (v) => Reef.known(Reef.corner(v));
  return Object.values(terms).every((t) => Number.isFinite(t.weight) && ["a", "b", "c", "d", "half"].every((k) => corner(t[k]))) && Number.isFinite(rank.top) && Number.isFinite(rank.spacing_m) && Number.isFinite(rank.second_share);
};
