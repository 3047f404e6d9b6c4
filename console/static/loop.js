// A loop's page: the current on its bands over time, and the fault list, fetched anew when the verdict changes.

import { data, follow, refresh } from "./ask.js";
import { trend } from "./trend.js";

const faults = document.getElementById("faults");
const place = document.getElementById("trend");

const facts = place && data("chart");

const verdict = (loop) => `${loop?.verdict} ${loop?.since}`;

// The list holds the stretches that the chart marks.
async function renew() {
  const changed = await refresh(faults, `/loops/${faults.dataset.loop}/faults`);
  if (changed && facts) facts.marks = data("marks");
  return changed;
}

follow(faults.dataset.shown, (state) => verdict(state.loops[faults.dataset.loop]), renew);

if (facts) {
  facts.marks = data("marks");
  trend(place, facts, data("words"));
}
