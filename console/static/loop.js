// A loop's page: the current on its bands over time, and the fault list, fetched anew when the verdict changes.

import { data, refresh } from "./ask.js";
import { trend } from "./trend.js";

const faults = document.getElementById("faults");
const place = document.getElementById("trend");
let verdict = null;

const facts = place && data("chart");

// The list holds the stretches that the chart marks.
async function renew() {
  if ((await refresh(faults, `/loops/${faults.dataset.loop}/faults`)) && facts) facts.marks = data("marks");
}

document.addEventListener("state", (event) => {
  const loop = event.detail.loops[faults.dataset.loop];
  const now = `${loop?.verdict} ${loop?.since}`;
  if (verdict !== null && now !== verdict) renew();
  verdict = now;
});

if (facts) {
  facts.marks = data("marks");
  trend(place, facts, data("words"));
}
