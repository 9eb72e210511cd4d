"use strict";
/* The screen stays awake while the page is looked at, where the browser can; where it cannot, nothing is said. */
const Awake = { lock: null };
Awake.ask = async function () {
  if (Awake.lock || !navigator.wakeLock || document.visibilityState !== "visible") return;
  try {
    Awake.lock = await navigator.wakeLock.request("screen");
    Awake.lock.addEventListener("release", () => { Awake.lock = null; });
  } catch { /* low battery, or no right to: the screen sleeps as it always does */ }
};
Awake.start = function () {
  document.addEventListener("visibilitychange", Awake.ask);
  document.addEventListener("pointerup", Awake.ask);
  document.addEventListener("keyup", Awake.ask);
};
