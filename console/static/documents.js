// Documents: write a paper down, put one right, undo one, bring a file. What is wrong or asked about is shown as a table.

import { read, refusal, shownUnit } from "./amount.js";
import { act, data, fill, refresh, rememberName } from "./ask.js";
import { marks, withUnit } from "./numbers.js";

const LARGEST = 900_000;
const VOLUMES = ["observed", "standard", "water", "fuel", "meter_opening", "meter_closing"];
const KIND_OF = { temperature: "temperature_degC", density: "density_kgpm3" };
const SPELLED = { "°C": "degC", "°F": "degF", "kg/m³": "kg/m3" };
const SI = { observed: "observed_m3", standard: "standard_m3", water: "water_m3", fuel: "fuel_m3",
  meter_opening: "meter_opening_m3", meter_closing: "meter_closing_m3", temperature: "temperature_degC",
  density: "density_kg_m3" };
const SI_SHOWN = { temperature_degC: "°C", density_kgpm3: "kg/m³" };
const SI_UNIT = { temperature: "degC", density: "kg/m3" };
const LISTED = ["row", "column", "found", "allowed", "mend"];

const words = data("words");
const kinds = data("kinds");
const titles = data("fields");
const volumes = data("volumes");
const by = document.getElementById("by");
const list = document.getElementById("list");
const said = document.getElementById("said");
const paper = document.getElementById("paper");
const fields = paper.elements;
const title = paper.querySelector("h2");
const sure = document.getElementById("sure");
const leave = document.getElementById("leave");
const file = document.getElementById("file");
const fileSure = document.getElementById("file-sure");
let correcting = null;
let refused = null;

function say(place, text, bad) {
  place.textContent = text;
  place.toggleAttribute("data-bad", Boolean(bad));
}

function named(place) {
  const name = by.value.trim();
  if (!name) {
    say(place, words.name_first, true);
    by.focus();
  }
  return name;
}

function again() {
  return refresh(list, `/documents/list${location.search}`);
}

// The fields that the chosen kind has, and the unit behind each volume.
function show() {
  const has = kinds[fields.kind.value];
  for (const label of paper.querySelectorAll("[data-field]")) label.hidden = !has.includes(label.dataset.field);
  const unit = fields.unit.selectedOptions[0].textContent;
  for (const place of paper.querySelectorAll("[data-unit]")) {
    place.textContent = place.dataset.unit === "volume" ? unit : correcting === null ? shownUnit(place.dataset.unit) : SI_SHOWN[place.dataset.unit];
  }
}

// What is put right stands there as the record has it, in its units.
function unitOf(name) {
  if (VOLUMES.includes(name)) return fields.unit.value;
  if (!(name in KIND_OF)) return "";
  const unit = shownUnit(KIND_OF[name]);
  return correcting === null ? (SPELLED[unit] ?? unit) : SI_UNIT[name];
}

function value(name) {
  const input = fields[name];
  if (input.type === "checkbox") return input.checked;
  const text = input.value.trim();
  const unit = unitOf(name);
  if (!unit || !text) return text;
  return figure(name, text) + ` ${unit}`;
}

function figure(name, text) {
  const number = read(text);
  if (Number.isNaN(number)) refused ??= { name, text, why: refusal() };
  return String(number);
}

// What the form says. Of a document that is put right also what was emptied, so that it is emptied there too.
function told() {
  refused = null;
  const body = { day: fields.day.value };
  for (const name of kinds[fields.kind.value]) {
    if (!(name in fields)) continue;
    const given = value(name);
    if (name === "meter_factor") {
      if (given) body[name] = Number(figure(name, given));
    } else if (correcting !== null || (given !== "" && given !== false)) body[name] = given;
  }
  return body;
}

function table(place, found, form) {
  place.replaceChildren();
  for (const input of form.querySelectorAll("[aria-invalid]")) input.removeAttribute("aria-invalid");
  if (!found.length) return;
  const columns = LISTED.filter((name) => found.some((one) => one[name] !== undefined && one[name] !== ""));
  const made = document.createElement("table");
  made.className = "plain";
  const head = made.createTHead().insertRow();
  for (const name of columns) {
    const cell = document.createElement("th");
    cell.scope = "col";
    cell.textContent = words[name];
    head.append(cell);
  }
  const body = made.createTBody();
  for (const one of found) {
    const row = body.insertRow();
    const field = Object.keys(SI).find((name) => SI[name] === one.column) ?? one.column;
    for (const name of columns) row.insertCell().textContent = one[name] ?? "";
    if (one.row === undefined && titles[field]) row.cells[0].textContent = titles[field];
    form.elements[field]?.setAttribute?.("aria-invalid", "true");
  }
  place.append(made);
}

// Show how an act was taken; true when it was done.
function answered(form, answer, yes, text) {
  const output = form.querySelector("output");
  const wrong = form.querySelector(".wrong");
  const mistakes = answer.ok ? [] : (answer.body.mistakes ?? []);
  const questions = answer.ok || mistakes.length ? [] : (answer.body.questions ?? []);
  yes.hidden = !questions.length;
  table(wrong, mistakes.length ? mistakes : questions, form);
  if (answer.ok) say(output, text(answer.body), false);
  else if (mistakes.length) say(output, words.mistakes, true);
  else if (questions.length) say(output, words.asked, true);
  else say(output, fill(words.failed, { why: answer.body.detail }), true);
  return answer.ok;
}

// The volumes of a paper in its own unit, and in litres where that is another.
function figuresOf(document) {
  const by = volumes[fields.unit.value];
  const found = [document.observed_m3, document.standard_m3].filter((value) => value !== null && value !== undefined);
  const both = (value) => (by.unit === volumes.L.unit ? withUnit(value, by) : `${withUnit(value, by)} (${withUnit(value, volumes.L)})`);
  return found.map((value) => `, ${both(value)}`).join("");
}

function written(body) {
  const numbers = body.documents.map((one) => one.number).join(", ");
  return [fill(words.done, { numbers, figures: figuresOf(body.documents[0]) }), body.note].filter(Boolean).join(" ");
}

async function send(yes) {
  const name = named(paper.querySelector("output"));
  if (!name) return;
  const body = { ...told(), by: name, sure: yes };
  if (refused) {
    const { name: field, text, why } = refused;
    say(paper.querySelector("output"), words.mistakes, true);
    table(paper.querySelector(".wrong"), [{ column: SI[field] ?? field, found: text, mend: why }], paper);
    fields[field].focus();
    return;
  }
  if (correcting === null) body.kind = fields.kind.value;
  const url = correcting === null ? "/api/documents" : `/api/documents/${correcting}/correct`;
  const answer = await act(url, body, words.offline);
  if (!answered(paper, answer, sure, written)) return;
  clear();
  await again();
}

// Empty what belongs to one paper; kind, day, tank and unit stay for the next one.
function clear() {
  const stay = ["kind", "day", "unit", "tank", "owner", "place", "meter"];
  for (const input of fields) {
    if (!input.name || stay.includes(input.name)) continue;
    if (input.type === "checkbox") input.checked = false;
    else input.value = "";
  }
  correcting = null;
  title.textContent = words.add;
  show();
  leave.hidden = true;
  sure.hidden = true;
  fields.kind.disabled = false;
}

const spelled = (value) => String(value).replace(".", marks()[1]);

// A closed day takes nothing any more: there the paper is put right on an open day, today unless another is chosen.
function correct(number, what, open) {
  clear();
  correcting = number;
  fields.kind.value = what.kind;
  fields.kind.disabled = true;
  fields.day.value = open ? what.day : fields.day.max;
  const litres = what.kind !== "meter totaliser";
  fields.unit.value = litres ? "L" : "m3";
  show();
  for (const name of kinds[what.kind]) {
    const known = what[SI[name] ?? name];
    if (!(name in fields) || name === "meter_factor") continue;
    if (fields[name].type === "checkbox") fields[name].checked = Boolean(known);
    else if (litres && VOLUMES.includes(name) && known) fields[name].value = spelled(Number((1000 * known).toFixed(1)));
    else fields[name].value = typeof known === "number" ? spelled(known) : (known ?? "");
  }
  title.textContent = fill(open ? words.correct : words.correct_closed, { number, day: what.day });
  leave.hidden = false;
  say(paper.querySelector("output"), "", false);
  table(paper.querySelector(".wrong"), [], paper);
  title.scrollIntoView();
}

async function undo(number, button) {
  if (!button.hasAttribute("data-armed")) {
    button.setAttribute("data-armed", "");
    button.textContent = words.arm;
    return;
  }
  const name = named(said);
  if (!name) return;
  const answer = await act(`/api/documents/${number}/undo`, { by: name }, words.offline);
  say(said, answer.ok ? fill(words.undone, { number }) : fill(words.failed, { why: answer.body.detail }), !answer.ok);
  if (answer.ok) await again();
}

async function bring(yes) {
  const output = file.querySelector("output");
  const name = named(output);
  if (!name) return;
  const chosen = file.elements.file.files[0];
  if (!chosen || chosen.size > LARGEST) {
    say(output, chosen ? words.file_large : words.file_first, true);
    return;
  }
  const answer = await act("/api/documents/import", { csv: await chosen.text(), by: name, sure: yes }, words.offline);
  const text = (body) => fill(words.taken, { count: body.count, first: body.numbers[0], last: body.numbers.at(-1) });
  if (answered(file, answer, fileSure, text)) await again();
}

paper.addEventListener("submit", (event) => {
  event.preventDefault();
  send(false);
});
file.addEventListener("submit", (event) => {
  event.preventDefault();
  bring(false);
});
sure.addEventListener("click", () => send(true));
fileSure.addEventListener("click", () => bring(true));
leave.addEventListener("click", () => {
  clear();
  table(paper.querySelector(".wrong"), [], paper);
});
fields.kind.addEventListener("change", show);
fields.unit.addEventListener("change", show);
list.addEventListener("click", (event) => {
  const button = event.target.closest("button[data-do]");
  if (!button) return;
  const number = Number(button.closest("tr").dataset.number);
  if (button.dataset.do === "undo") undo(number, button);
  else correct(number, JSON.parse(button.dataset.said), button.closest("tr").hasAttribute("data-open"));
});
show();
rememberName(by);
