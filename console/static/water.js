// The water page: which fields a drain check needs, sending it, taking one back.

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

// Millilitres as a person types them, to m3; 0 where nothing stands, NaN where it is no number.
function cubic(text) {
  const plain = text.trim().replace(/[\s\u202f\u00a0]/g, "").replace(",", ".");
  const value = plain === "" ? 0 : Number(plain) / 1e6;
  return value >= 0 ? value : NaN;
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
    body.fuel_m3 = cubic(elements.fuel.value);
    if (Number.isNaN(body.fuel_m3)) return say(fill(words.bad_volume, { what: "fuel" }), elements.fuel);
  }
  if (result === "water") {
    body.water_m3 = cubic(elements.water.value);
    if (Number.isNaN(body.water_m3)) return say(fill(words.bad_volume, { what: "water" }), elements.water);
    if (!body.water_m3) return say(words.no_water, elements.water);
    const number = Number(elements.document.value.trim());
    if (number) body.document = number;
  }
  const answer = await act(`/api/tanks/${elements.tank.value}/drain-check`, body, words.offline);
  if (!answer.ok) return say(fill(words.failed, { why: answer.body.detail ?? answer.status }));
  for (const name of ["water", "fuel", "document", "why", "comment", "appearance"]) elements[name].value = "";
  say(fill(words.written, { number: answer.body.number, name: by, due: answer.body.next_due ?? words.overdue }));
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
