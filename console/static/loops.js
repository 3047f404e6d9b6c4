// The page of all loops: the last fault of a loop is fetched anew when its verdict changes.

import { refresh } from "./ask.js";

const cells = [...document.querySelectorAll("[data-last]")];
const verdicts = new Map();

document.addEventListener("state", (event) => {
  for (const cell of cells) {
    const id = cell.dataset.last;
    const loop = event.detail.loops[id];
    const now = `${loop?.verdict} ${loop?.since}`;
    if (verdicts.has(id) && verdicts.get(id) !== now) refresh(cell, `/loops/${id}/last`);
    verdicts.set(id, now);
  }
});
