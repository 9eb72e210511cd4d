"use strict";
/* Sites taken along from the page itself: a file, the phone's share sheet, or cards on paper. */
const TakeAlong = { chosen: "gpx" };
TakeAlong.forms = {
  gpx: ["GPX, for a plotter or a phone", "application/gpx+xml", Waypoints.gpx],
  csv: ["CSV, a table", "text/csv", Waypoints.csv],
  txt: ["Plain text, to read", "text/plain", Waypoints.text],
};
TakeAlong.made = function () {
  const [, type, write] = TakeAlong.forms[TakeAlong.chosen], sites = Waypoints.sites();
  return { name: "sites." + TakeAlong.chosen, type, count: sites.length, text: write(Waypoints.points(sites)) };
};
TakeAlong.save = function () {
  const made = TakeAlong.made();
  download(made.name, made.type, made.text);
  App.say(made.count + " sites are saved as " + made.name + ". " + App.data.caution_short);
};
/* A browser hands on only the kinds of files that it lists; text itself goes everywhere. */
TakeAlong.share = async function () {
  const made = TakeAlong.made(), file = new File([made.text], made.name, { type: made.type }), whole = { files: [file], title: Waypoints.title() };
  try {
    if (navigator.canShare && navigator.canShare(whole)) await navigator.share(whole);
    else if (TakeAlong.chosen === "txt") await navigator.share({ title: Waypoints.title(), text: made.text });
    else App.say("This browser shares no " + TakeAlong.chosen.toUpperCase() + " file: save it and share it from your files, or share it as plain text.");
  } catch (e) { if (e.name !== "AbortError") App.say("Not shared: " + e.message); }
};
TakeAlong.form = function () {
  const sites = Waypoints.sites(), kept = [...Picks.by.values()].some((p) => p.state === "keep" || p.added);
  const form = make("select", { id: "form", onchange: (e) => { TakeAlong.chosen = e.target.value; } }, Object.entries(TakeAlong.forms).map(([k, [words]]) => make("option", { value: k, selected: k === TakeAlong.chosen }, words)));
  return make("div", {}, make("h3", {}, "Take along"),
    make("p", {}, sites.length + (kept ? " sites: those kept and those set by hand." : " sites: the list without what is dropped. Keep some, and those alone go along.")),
    make("label", {}, "As ", form),
    make("div", { class: "actions" },
      make("button", { type: "button", id: "savesites", onclick: TakeAlong.save }, "Save file"),
      navigator.share ? make("button", { type: "button", id: "sharesites", onclick: TakeAlong.share }, "Share") : null,
      make("button", { type: "button", id: "printcards", onclick: () => window.print() }, "Print cards")));
};
