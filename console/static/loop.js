// A loop's page: the current on its bands over time, and the fault list, fetched anew when the verdict changes.

import { data, refresh } from "./ask.js";
import { trend } from "./trend.js";

const faults = document.getElementById("faults");
const place = document.getElementById("trend");
let verdict = null;

document.addEventListener("state", (event) => {
  const loop = event.detail.loops[faults.dataset.loop];
  const now = `${loop?.verdict} ${loop?.since}`;
  if (verdict !== null && now !== verdict) refresh(faults, `/loops/${faults.dataset.loop}/faults`);
  verdict = now;
});

if (place) trend(place, data("chart"), data("words"));
