// The list of receipts, the check before one, and planning it.

import { act, data, fill, refresh, rememberName } from "./ask.js";
import { quantity, refusal } from "./amount.js";

const words = data("words");
const form = document.getElementById("plan");
const list = document.getElementById("list");
const before = document.getElementById("before");
const said = form.querySelector("output");
let states = 0;
let busy = false;

document.addEventListener("state", async () => {
  if (busy || document.hidden || ++states % 5) return;
  busy = true;
  await refresh(list, "/receipts/list");
  busy = false;
});

// What the papers state, in the API's units; null where something is no number.
function delivery() {
  const fields = form.elements;
  const told = { tank: fields.tank.value };
  for (const [name, [input, kind]] of Object.entries({
    observed_m3: [fields.observed, "volume_m3"],
    standard_m3: [fields.standard, "volume_m3"],
    temperature_degC: [fields.temperature, "temperature_degC"],
    density_15_kgpm3: [fields.density, "density_kgpm3"],
    rate_m3_per_h: [fields.rate, "agreed_m3_per_h"],
  })) {
    told[name] = quantity(input, kind);
    if (!Number.isNaN(told[name])) continue;
    said.textContent = refusal();
    input.focus();
    return null;
  }
  if (!told.tank) {
    said.textContent = words.tank_first;
    fields.tank.focus();
    return null;
  }
  if (told.observed_m3 === null && told.standard_m3 === null) {
    said.textContent = words.quantity_first;
    fields.observed.focus();
    return null;
  }
  return told;
}

form.addEventListener("submit", async (event) => {
  event.preventDefault();
  said.textContent = "";
  const told = delivery();
  if (!told) return;
  const asked = new URLSearchParams(Object.entries(told).filter(([, value]) => value !== null));
  if (event.submitter?.value !== "plan") {
    await refresh(before, `/receipts/check?${asked}`);
    return;
  }
  const fields = form.elements;
  for (const name of ["note", "batch", "certificate", "vehicle", "sender", "stops"]) told[name] = fields[name].value.trim();
  told.by = fields.by.value.trim();
  if (!told.by) {
    said.textContent = words.name_first;
    fields.by.focus();
    return;
  }
  const answer = await act("/api/receipts", told, words.offline);
  if (answer.ok) location.href = `/receipts/${answer.body.number}`;
  else said.textContent = fill(words.failed, { why: answer.body.detail });
});

rememberName(form.elements.by);
