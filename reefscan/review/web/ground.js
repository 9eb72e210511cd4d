"use strict";
/* Where the grid knows the bottom: a bit for each square of the picture. */
const Ground = {};
Ground.inside = (px, py) => px >= 0 && py >= 0 && px < App.data.picture.width && py < App.data.picture.height;
Ground.known = function (px, py) {
  if (!Ground.inside(px, py)) return false;
  const k = App.data.known;
  Ground.bits = Ground.bits || Uint8Array.from(atob(k.bits), (c) => c.charCodeAt(0));
  const at = Math.floor(py / k.side) * k.cols + Math.floor(px / k.side);
  return (Ground.bits[at >> 3] & (128 >> (at & 7))) !== 0;
};
