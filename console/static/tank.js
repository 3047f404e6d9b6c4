// The tank page: its chain follows each state, the extremes can be started anew, the trend has quantities and spans.

import { act, data, fill, refresh, rememberName } from "./ask.js";
import { trend } from "./trend.js";

const words = data("words");
const chain = document.getElementById("chain");
const form = document.getElementById("reset");
const said = form.querySelector("output");
let busy = false;

document.addEventListener("state", async () => {
  if (busy || document.hidden) return;
  busy = true;
  await refresh(chain, `/tank/${chain.dataset.tank}/chain`);
  busy = false;
});

form.addEventListener("submit", async (event) => {
  event.preventDefault();
  const by = form.elements.by.value.trim();
  if (!by) {
    said.textContent = words.name_first;
    form.elements.by.focus();
    return;
  }
  const answer = await act(`/api/tanks/${chain.dataset.tank}/extremes/reset`, { by }, words.offline);
  said.textContent = answer.ok ? fill(words.taken_reset, { name: by }) : fill(words.failed, { why: answer.body.detail });
});

rememberName(form.elements.by);
trend(document.getElementById("trend"), data("chart"), words);
