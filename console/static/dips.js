// A tank's dips: what is typed is judged while it is typed, then written down; what it changes is shown anew.

import { amount, both, quantity, refusal } from "./amount.js";
import { act, data, fill, refresh, rememberName } from "./ask.js";
import { written } from "./numbers.js";

const words = data("words");
const dipWords = data("dip-words");
const place = document.getElementById("dips");
const now = document.getElementById("now");
const state = document.getElementById("state");
const tank = place.dataset.tank;
const verdict = document.getElementById("verdict");
const WAIT_MS = 300;
const EACH_MS = 20_000;
let time = Date.parse(place.dataset.now);
let asked = 0;
let shown = 0;

function metres(input) {
  return quantity(input, "dip_m");
}

function degrees(input) {
  return quantity(input, "temperature_degC");
}

function whole(object) {
  return Object.values(object).every((value) => ![value].flat().some(Number.isNaN));
}

function moment(input) {
  const minutes = amount(input);
  return minutes === null ? null : new Date(time - minutes * 60_000).toISOString();
}

async function refreshAll() {
  await refresh(state, `/dips/${tank}/state`);
  await refresh(now, `/dips/${tank}/now`);
}

function dipOf(form) {
  const fields = form.elements;
  return {
    tank,
    by: fields.by.value.trim(),
    method: fields.method.value,
    readings_m: [...form.querySelectorAll("[name=reading]")].map(metres).filter((value) => value !== null),
    water_m: metres(fields.water),
    temperature_degC: degrees(fields.temperature),
    temperature_kind: fields.kind.value,
    tape_degC: degrees(fields.tape),
    reference_m: metres(fields.reference),
    purpose: fields.verify.checked ? "verify" : "stock",
    after_setting: fields.after_setting.checked,
    sure: fields.sure.checked,
    waited: fields.waited.value.trim(),
    comment: fields.comment.value.trim(),
  };
}

function tell(text, bad) {
  verdict.textContent = text;
  verdict.toggleAttribute("data-bad", Boolean(bad));
}

function apart(value) {
  const { shown } = data("figures").kinds.apart_m;
  return written(value, { ...shown, signed: true });
}

// What was read, for the confirmation.
function readOf(body) {
  const read = body.readings_m.map((one) => both(one, "dip_m"));
  if (body.water_m !== null) read.push(fill(dipWords.water_read, { water: both(body.water_m, "dip_m") }));
  return read.join(" · ") || dipWords.nothing_read;
}

async function judge(form) {
  const body = dipOf(form);
  if (!whole(body)) {
    tell(refusal(), true);
    return;
  }
  if (body.readings_m.length === 0) {
    tell("", false);
    return;
  }
  const mine = ++asked;
  body.by ||= "?";
  body.time = null;
  const answer = await act("/api/dips/verdict", body, words.offline);
  if (mine !== asked) return; // something newer was typed meanwhile
  if (!answer.ok) {
    tell(answer.body.detail, true);
    return;
  }
  const told = answer.body;
  const parts = [];
  if (told.level_m !== null) parts.push(fill(dipWords.settled, { level: both(told.level_m, "dip_m"), how: told.repeated }));
  if (told.difference_m !== null)
    parts.push(fill(dipWords.against, { off: apart(told.difference_m), u95: both(told.difference_u95_m, "apart_m") }));
  if (told.refused) parts.push(told.refused);
  else parts.push(...told.notes);
  tell(parts.join(" · "), Boolean(told.refused) || told.within === false);
}

function handle(id, send) {
  const form = document.getElementById(id);
  const said = form.querySelector(".send output");
  rememberName(form.elements.by);
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (!form.elements.by.value.trim()) {
      said.textContent = words.name_first;
      form.elements.by.focus();
      return;
    }
    const by = form.elements.by.value.trim();
    const answer = await send(form, by, said);
    if (!answer) return;
    said.textContent = answer.ok ? answer.words : fill(words.failed, { why: answer.body.detail });
    if (answer.ok) {
      if (answer.body.status === "done") {
        form.reset();
        form.elements.by.value = by;
        if (id === "dip") tell("", false);
      }
      await refreshAll();
    }
  });
  return form;
}

const dip = handle("dip", async (form, by, said) => {
  const body = dipOf(form);
  const at = amount(form.elements.ago);
  if (!whole(body) || Number.isNaN(at)) {
    said.textContent = refusal();
    return null;
  }
  body.time = moment(form.elements.ago);
  const answer = await act("/api/dips", body, words.offline);
  const { number, note } = answer.body;
  const sentence = answer.body.status === "already" ? dipWords.before : dipWords.written;
  return { ...answer, words: fill(sentence, { number, name: by, read: readOf(body), note: note ?? "" }).trim() };
});

let waiting = null;
dip.addEventListener("input", () => {
  clearTimeout(waiting);
  waiting = setTimeout(() => judge(dip), WAIT_MS);
});

handle("sample", async (form, by, said) => {
  const fields = form.elements;
  const body = {
    tank,
    by,
    observed_kgpm3: quantity(fields.density, "density_kgpm3"),
    observed_degC: degrees(fields.temperature),
    meter: fields.meter.value,
    certificate_kgpm3: quantity(fields.certificate, "density_kgpm3"),
    place: fields.place.value.trim(),
    rejected: fields.rejected.value.trim(),
    waited: fields.waited.value.trim(),
  };
  if (!whole(body) || body.observed_kgpm3 === null || body.observed_degC === null) {
    said.textContent = whole(body) ? dipWords.figures_first : refusal();
    return null;
  }
  const answer = await act("/api/samples", body, words.offline);
  const told = answer.body;
  const sentence = told.status === "already" ? dipWords.before : dipWords.sampled;
  const verdict_ = told.accepted ? dipWords.accepted : dipWords.rejected;
  return {
    ...answer,
    words: fill(sentence, {
      number: told.number,
      name: by,
      base: answer.ok ? both(told.base_kgpm3, "density_kgpm3") : "",
      degC: told.base_degC,
      verdict: verdict_,
      note: told.note ?? "",
    }).trim(),
  };
});

handle("withdraw", async (form, by, said) => {
  const fields = form.elements;
  const number = amount(fields.number);
  if (!Number.isInteger(number) || number < 1) {
    said.textContent = dipWords.which;
    return null;
  }
  const body = { by, why: fields.why.value.trim() };
  const answer = await act(`/api/${fields.kind.value}/${number}/withdraw`, body, words.offline);
  return { ...answer, words: fill(dipWords.withdrawn, { number, name: by }) };
});

document.addEventListener("state", (event) => {
  time = Date.parse(event.detail.time);
  if (!document.hidden && time - shown > EACH_MS) {
    shown = time;
    refreshAll();
  }
});

// Until now a click would have sent the form nowhere and lost what was typed.
for (const button of place.querySelectorAll(".send button")) button.disabled = false;
