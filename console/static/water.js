// The water page: which fields a drain check needs, sending it, taking one back.

import { both, quantity, refusal } from "./amount.js";
import { act, data, fill, refresh, rememberName } from "./ask.js";

const words = data("words");
const form = document.getElementById("check");
const checks = document.getElementById("checks");
const said = form.querySelector("output");
const { elements } = form;

function say(text, input) {
  said.textContent = text;
  input?.focus();
}

function choose() {
  for (const label of form.querySelectorAll("[data-for]")) {
    const wanted = label.dataset.for === elements.result.value || label.dataset.for.split(" ").includes(elements.result.value);
    label.toggleAttribute("data-off", !wanted);
  }
}

// A small volume as a person types it, in m3; 0 where nothing stands.
function cubic(input) {
  return quantity(input, "drop_m3") ?? 0;
}

// What is wrong with it; empty where nothing is.
function wrong(value, what) {
  return Number.isNaN(value) ? `${what}: ${refusal()}` : value < 0 ? fill(words.bad_volume, { what }) : "";
}

// What was drained, for the confirmation.
function drained(body) {
  const told = ["water", "fuel"].filter((what) => body[`${what}_m3`]).map((what) => `${what} ${both(body[`${what}_m3`], "drop_m3")}`);
  return told.length ? `; ${told.join(", ")}` : "";
}

async function write(event) {
  event.preventDefault();
  const by = elements.by.value.trim();
  if (!by) return say(words.name_first, elements.by);
  const result = elements.result.value;
  const body = { by, result, comment: elements.comment.value.trim() };
  if (result === "not done") {
    body.why = elements.why.value.trim();
    if (!body.why) return say(words.no_why, elements.why);
  } else {
    body.appearance = elements.appearance.value;
    if (!body.appearance) return say(words.no_look, elements.appearance);
    body.fuel_m3 = cubic(elements.fuel);
    if (wrong(body.fuel_m3, "fuel")) return say(wrong(body.fuel_m3, "fuel"), elements.fuel);
  }
  if (result === "water") {
    body.water_m3 = cubic(elements.water);
    if (wrong(body.water_m3, "water")) return say(wrong(body.water_m3, "water"), elements.water);
    if (!body.water_m3) return say(words.no_water, elements.water);
    const number = Number(elements.document.value.trim());
    if (number) body.document = number;
  }
  const answer = await act(`/api/tanks/${elements.tank.value}/drain-check`, body, words.offline);
  if (!answer.ok) return say(fill(words.failed, { why: answer.body.detail ?? answer.status }));
  for (const name of ["water", "fuel", "document", "why", "comment", "appearance"]) elements[name].value = "";
  say(fill(words.written, { number: answer.body.number, name: by, due: answer.body.next_due ?? words.overdue, drained: drained(body) }));
  await refresh(checks, checks.dataset.part);
}

async function withdraw(event) {
  const number = event.target.dataset?.withdraw;
  if (!number) return;
  const by = elements.by.value.trim();
  if (!by) return say(words.name_first, elements.by);
  const comment = elements.comment.value.trim();
  if (!comment) return say(words.no_comment, elements.comment);
  const answer = await act(`/api/drain-checks/${number}/withdraw`, { by, comment }, words.offline);
  if (!answer.ok) return say(fill(words.failed, { why: answer.body.detail ?? answer.status }));
  elements.comment.value = "";
  say(fill(words.withdrawn, { number }));
  await refresh(checks, checks.dataset.part);
}

form.addEventListener("submit", write);
elements.result.addEventListener("change", choose);
checks.addEventListener("click", withdraw);
const asked = new URLSearchParams(location.search).get("tank");
if ([...elements.tank.options].some((option) => option.value === asked)) elements.tank.value = asked;
rememberName(elements.by);
choose();
form.dataset.ready = "";
