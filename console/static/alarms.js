// The alarms page: the list is drawn anew whenever an alarm changes; one or a chosen few are acknowledged by name.

import { act, data, fill, refresh, rememberName } from "./ask.js";
import { renewed } from "./bind.js";

const words = data("words");
const list = document.getElementById("list");
const past = document.getElementById("past");
const form = document.getElementById("acknowledge");
const button = form.querySelector("button");
const said = form.querySelector("output");
let revision = list.dataset.rev;
let busy = false;

function boxes() {
  return [...list.querySelectorAll("input[name=choose]")];
}

function chosen() {
  return boxes().filter((box) => box.checked);
}

function count() {
  const number = chosen().length;
  button.textContent = number ? fill(words.button_some, { count: number }) : words.button_none;
  form.toggleAttribute("data-ready", number > 0);
}

async function redraw(rev) {
  busy = true;
  const kept = new Set(chosen().map((box) => box.value));
  if (await refresh(list, "/alarms/list")) {
    for (const box of boxes()) box.checked = kept.has(box.value);
    renewed();
  }
  await refresh(past, "/alarms/history");
  revision = rev;
  busy = false;
  count();
}

function outcome(answer, by) {
  if (answer.ok && answer.body.status === "accepted") return fill(words.taken, { name: by });
  if (answer.ok) return fill(words.taken_before, { name: answer.body.acknowledged_by, time: answer.body.time });
  if (answer.status === 409) return words.out_of_date;
  return fill(words.failed, { why: answer.body.detail ?? answer.status });
}

async function acknowledge(event) {
  event.preventDefault();
  const taken = chosen();
  const by = form.elements.by.value.trim();
  if (!taken.length || !by) {
    said.textContent = taken.length ? words.name_first : words.pick_first;
    (taken.length ? form.elements.by : boxes()[0])?.focus();
    return;
  }
  button.disabled = true;
  const told = [];
  for (const box of taken) {
    const body = { occurrence: Number(box.dataset.occurrence), by, comment: form.elements.comment.value.trim() };
    const answer = await act(`/api/alarms/${encodeURIComponent(box.dataset.alarm)}/acknowledge`, body, words.offline);
    told.push(`${box.dataset.name}: ${outcome(answer, by)}`);
    if (answer.ok || answer.status === 409) box.checked = false;
  }
  said.textContent = told.join(" · ");
  form.elements.comment.value = "";
  button.disabled = false;
  count();
}

rememberName(form.elements.by);
form.addEventListener("submit", acknowledge);
list.addEventListener("change", count);
document.addEventListener("state", (event) => {
  if (!busy && event.detail.rev !== revision) redraw(event.detail.rev);
});
count();
