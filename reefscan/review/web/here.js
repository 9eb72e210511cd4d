"use strict";
/* Where the device says it is: asked for only after a tap, drawn, never stored and never sent. */
const Here = { at: null, watch: null };
Here.start = function () {
  document.getElementById("here").onclick = () => (Here.watch === null ? Here.on() : Here.off("My place is off."));
};
Here.shown = function () {
  document.getElementById("here").setAttribute("aria-pressed", String(Here.watch !== null));
  App.draw();
  Way.fill();
};
Here.on = function () {
  if (!navigator.geolocation) return App.say("This browser cannot tell where you are.");
  App.say("This device is asked where it is.");
  Here.watch = navigator.geolocation.watchPosition(Here.found, Here.failed, { enableHighAccuracy: true, maximumAge: 5000 });
  Here.shown();
};
Here.off = function (words) {
  if (Here.watch !== null) navigator.geolocation.clearWatch(Here.watch);
  Here.watch = Here.at = null;
  App.say(words);
  Here.shown();
};
Here.found = function ({ coords }) {
  const first = Here.at === null;
  Here.at = { lon: coords.longitude, lat: coords.latitude, within: coords.accuracy };
  if (first) {
    const [px, py] = App.place(Here.at.lon, Here.at.lat), inside = Ground.inside(px, py);
    App.say("My place by this device, within about " + Words.far(Here.at.within) + (inside ? "" : ", lies outside this map") + ". Not for navigation.");
    if (inside) SeaMap.goTo(px, py);
  }
  Here.shown();
};
Here.failed = (e) => { if (e.code === 1 || Here.at === null) Here.off(e.code === 1 ? "This device was not allowed to tell its place." : "This device cannot find where it is now."); };
Here.draw = function (g, { x, y, scale }, night) {
  if (!Here.at) return;
  const [px, py] = App.place(Here.at.lon, Here.at.lat), a = (px - x) * scale, b = (py - y) * scale, { text, halo } = SeaMap.ink(night);
  for (const [colour, wide] of [[halo, 4], [text, 2]]) {
    g.strokeStyle = colour; g.lineWidth = wide;
    g.beginPath(); g.arc(a, b, Math.max(9, (Here.at.within / App.data.picture.cell_m) * scale), 0, 7); g.stroke();
    g.beginPath(); g.moveTo(a - 9, b); g.lineTo(a + 9, b); g.moveTo(a, b - 9); g.lineTo(a, b + 9); g.stroke();
  }
};
