// A loop check at the instrument: its acts, and what is shown anew when a step was taken, here or by somebody else.

import { amount, refusal } from "./amount.js";
import { act, data, fill, follow, refresh, rememberName } from "./ask.js";
import { number } from "./numbers.js";

const words = data("words");
const said_words = data("check-words");
const place = document.getElementById("check");
const by = document.getElementById("by");
const said = document.getElementById("said");
const now = document.getElementById("now");
const loop = place.dataset.loop;

function say(text, bad) {
  said.textContent = text;
  said.toggleAttribute("data-bad", Boolean(bad));
}

async function send(name, body, telling) {
  body.by = by.value.trim();
  if (!body.by) {
    say(words.name_first, true);
    by.focus();
    return;
  }
  for (const value of Object.values(body)) {
    if (Number.isNaN(value)) {
      say(refusal(), true);
      return;
    }
  }
  const answer = await act(`/api/loops/${loop}/check/${name}`, body, words.offline);
  say(answer.ok ? telling(answer.body) : fill(words.failed, { why: answer.body.detail }), !answer.ok);
  if (answer.ok) await refresh(now, `/loops/${loop}/check/now`);
}

function form(id, handle) {
  const element = document.getElementById(id);
  element.addEventListener("submit", (event) => {
    event.preventDefault();
    handle(element.elements, element);
  });
}

form("start", (fields) =>
  send(
    "start",
    {
      minutes: amount(fields.minutes),
      permit: fields.permit.value,
      at_rest: fields.at_rest.value,
      covered_by: fields.covered_by?.value ?? "",
    },
    () => said_words.began,
  ),
);

form("step", (fields, element) => {
  const chosen = fields.run.value !== "";
  const body = { applied_mA: amount(fields.applied_mA), shown_mA: amount(fields.shown_mA) };
  if (chosen) {
    body.run = fields.run.value;
    body.point_mA = Number(fields.point_mA.value);
    body.direction = fields.direction.value;
  }
  return send("step", body, (told) => {
    element.reset();
    element.querySelector("details").open = false;
    const step = told.step;
    const error = (100 * (step.shown_mA - step.applied_mA)) / 16;
    const whole = told.next?.run === "as_left" && told.next.point_mA === 4 && told.next.direction === "up";
    const text = fill(said_words.took, {
      place: `${step.point_mA} mA`,
      shown: number(step.shown_mA, 4),
      error: number(error, 3, true),
    });
    return whole ? `${text} ${said_words.next_left}` : text;
  });
});

form("finish", (fields, element) => {
  const body = {};
  for (const input of element.querySelectorAll("input")) body[input.name] = input.value.trim();
  return send("finish", body, (told) => {
    element.reset();
    return fill(said_words.ended, { number: told.record.number });
  });
});

form("abort", (fields, element) =>
  send("abort", { why: fields.why.value }, (told) => {
    element.reset();
    return fill(said_words.ended, { number: told.record.number });
  }),
);

follow(
  place.dataset.shown,
  (state) => state.loops[loop]?.check.rev,
  () => refresh(now, `/loops/${loop}/check/now`),
);

rememberName(by);
