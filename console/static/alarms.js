// The alarm pages: the list is drawn anew whenever an alarm changes; people act on one alarm or a chosen few by name.

import { act, data, fill, refresh, rememberName } from "./ask.js";
import { renewed } from "./bind.js";

const words = data("words");
const list = document.getElementById("list");
const past = document.getElementById("past");
const form = document.getElementById("acknowledge");
const buttons = [...form.querySelectorAll("button")];
const said = form.querySelector("output");
let revision = list.dataset.rev;
let busy = false;

const bodies = {
  acknowledge: (box, by, text) => ({ occurrence: Number(box.dataset.occurrence), by, comment: text }),
  reset: (box, by, text) => ({ occurrence: Number(box.dataset.occurrence), by, comment: text }),
  shelve: (box, by, text) => ({
    by,
    reason: text,
    span_s: Number(form.elements.span.value),
    one_shot: form.elements.one_shot.checked,
  }),
  unshelve: (box, by, text) => ({ by, comment: text }),
  "remove-from-service": (box, by, text) => ({ by, reason: text }),
  "return-to-service": (box, by, text) => ({ by, comment: text }),
  test: (box, by, text) => ({ by, comment: text, means: form.elements.means.value }),
  "test/end": (box, by, text) => ({ by, comment: text }),
};

function boxes() {
  return [...list.querySelectorAll("input[name=choose]")];
}

function chosen() {
  return boxes().filter((box) => box.checked);
}

function admit(box, name) {
  return box.dataset.can.split(" ").includes(name);
}

// Buttons that the chosen alarms do not admit are dimmed; they still answer why.
function count() {
  const taken = chosen();
  for (const button of buttons) {
    button.toggleAttribute("data-ready", taken.length > 0 && taken.every((box) => admit(box, button.value)));
  }
  const [first] = buttons;
  first.textContent = taken.length ? fill(words.button_some, { count: taken.length }) : words.button_none;
}

// What was ticked while the new list was on its way stays ticked.
function keepTicks() {
  const kept = new Set(chosen().map((box) => box.value));
  return () => {
    for (const box of boxes()) box.checked = kept.has(box.value);
  };
}

// A list that could not be had is asked for again with the next state.
async function redraw(rev) {
  busy = true;
  const drawn = await refresh(list, list.dataset.part, keepTicks);
  if (drawn) renewed();
  if (past) await refresh(past, past.dataset.part);
  if (drawn !== null) revision = rev;
  busy = false;
  count();
}

function outcome(answer, button, by) {
  const { ok, status, body } = answer;
  if (ok && button.value === "acknowledge" && body.status === "already") {
    return fill(words.taken_before, { name: body.acknowledged_by, time: body.time });
  }
  if (ok && body.status === "already") return words.was_so;
  if (ok) return fill(words[button.dataset.done], { name: by });
  if (status === 409 && body.occurrence !== undefined) return words.out_of_date;
  return fill(words.failed, { why: body.detail ?? status });
}

function lacking(button, taken, by, text) {
  if (!taken.length) return [words.pick_first, boxes()[0]];
  if (!by) return [words.name_first, form.elements.by];
  if (!taken.every((box) => admit(box, button.value))) return [words.not_so, button];
  if (button.dataset.why && !text) return [words.reason_first, form.elements.comment];
  return null;
}

async function perform(event) {
  event.preventDefault();
  const button = event.submitter ?? buttons[0];
  const taken = chosen();
  const by = form.elements.by.value.trim();
  const text = form.elements.comment.value.trim();
  const missing = lacking(button, taken, by, text);
  if (missing) {
    said.textContent = missing[0];
    missing[1]?.focus();
    return;
  }
  for (const one of buttons) one.disabled = true;
  const told = [];
  for (const box of taken) {
    const body = bodies[button.value](box, by, text);
    const answer = await act(`/api/alarms/${encodeURIComponent(box.dataset.alarm)}/${button.value}`, body, words.offline);
    told.push(`${box.dataset.name}: ${outcome(answer, button, by)}`);
    if (answer.ok || answer.status === 409) box.checked = false;
  }
  said.textContent = told.join(" · ");
  form.elements.comment.value = "";
  for (const one of buttons) one.disabled = false;
  count();
}

rememberName(form.elements.by);
form.addEventListener("submit", perform);
list.addEventListener("change", count);
document.addEventListener("state", (event) => {
  if (!busy && event.detail.rev !== revision) redraw(event.detail.rev);
});
count();
