// The page of all loops: the last fault of a loop is fetched anew when its verdict changes.

import { follow, refresh } from "./ask.js";

for (const cell of document.querySelectorAll("[data-last]")) {
  const id = cell.dataset.last;
  follow(
    cell.dataset.shown,
    ({ loops }) => `${loops[id]?.verdict} ${loops[id]?.since}`,
    () => refresh(cell, `/loops/${id}/last`),
  );
}
