"use strict";
/* Each change of the picks can be taken back, the last one first. */
const Undo = { stack: [], most: 100 };
/* Called before a change, which makes a new map of the picks; the words say what it does. */
Undo.before = function (words) {
  Undo.stack.push({ words, by: Picks.by, chosen: App.chosen });
  if (Undo.stack.length > Undo.most) Undo.stack.shift();
};
Undo.back = function () {
  const last = Undo.stack.pop();
  if (!last) return App.say("There is nothing to undo.");
  Picks.all(last.by);
  if (!App.rowOf.has(App.chosen) && !Picks.added.has(App.chosen)) App.chosen = App.rowOf.has(last.chosen) || Picks.added.has(last.chosen) ? last.chosen : null;
  App.shown();
  Card.fill();
  App.say("Undone: " + last.words);
};
Undo.start = function () {
  document.getElementById("undo").onclick = Undo.back;
  document.addEventListener("keydown", (e) => {
    if (e.key.toLowerCase() !== "z" || !(e.ctrlKey || e.metaKey) || e.shiftKey || e.target.closest("input, textarea, select")) return;
    e.preventDefault();
    Undo.back();
  });
};
