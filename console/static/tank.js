// The tank page: its chain follows each state, the extremes can be started anew, the trend has quantities and spans.

import { both, quantity, refusal } from "./amount.js";
import { act, data, fill, refresh, rememberName } from "./ask.js";
import { trend } from "./trend.js";

const words = data("words");
const chain = document.getElementById("chain");
const movements = document.getElementById("movements");
let states = 0;
const form = document.getElementById("reset");
const said = form.querySelector("output");
let busy = false;

document.addEventListener("state", async () => {
  if (busy || document.hidden) return;
  busy = true;
  await refresh(chain, `/tank/${chain.dataset.tank}/chain`);
  if (++states % 30 === 0) await refresh(movements, `/tank/${chain.dataset.tank}/movements`);
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

const order = document.getElementById("order");
const orderSaid = order.querySelector("output");

order.addEventListener("submit", async (event) => {
  event.preventDefault();
  const by = order.elements.by.value.trim();
  const ends = event.submitter?.value === "end";
  if (!by) {
    orderSaid.textContent = words.name_first;
    order.elements.by.focus();
    return;
  }
  const wanted = { kind: order.elements.kind.value, by };
  if (!ends) {
    const volume = quantity(order.elements.litres, "volume_m3");
    const rate = quantity(order.elements.rate, "agreed_m3_per_h");
    for (const [value, input] of [[volume, order.elements.litres], [rate, order.elements.rate]]) {
      if (!Number.isNaN(value) && (value === null ? input !== order.elements.litres : value > 0)) continue;
      orderSaid.textContent = Number.isNaN(value) ? refusal() : words.amount_first;
      input.focus();
      return;
    }
    wanted.quantity_m3 = volume;
    if (rate !== null) wanted.rate_m3_per_h = rate;
  }
  const path = `/api/tanks/${chain.dataset.tank}/plan`;
  const answer = ends ? await act(`${path}/end`, { by }, words.offline) : await act(path, wanted, words.offline);
  const done = ends ? words.order_ended : words.ordered;
  orderSaid.textContent = answer.ok
    ? [fill(done, { name: answer.body.by, amount: ends ? "" : both(wanted.quantity_m3, "volume_m3") }), answer.body.note ?? ""].join(" ").trim()
    : fill(words.failed, { why: answer.body.detail });
});

rememberName(order.elements.by);
rememberName(form.elements.by);
trend(document.getElementById("trend"), data("chart"), words);
