// The trends page: which tanks and quantities, what is in view, read out as a table and a line of marks. The address
// always says what is in view.

import { data, fill } from "./ask.js";
import { DASHES, KINDS, ManyChart } from "./manychart.js";
import { moving } from "./moving.js";
import { written } from "./numbers.js";
import { picture } from "./picture.js";
import { SiteTime } from "./scale.js";

const POINTS = 1500;
const CSV_POINTS = 2000;
const facts = data("chart");
const words = data("words");
const place = document.getElementById("trends");
const form = place.querySelector("form");
const canvas = place.querySelector("canvas");
const said = place.querySelector("#said");
const table = place.querySelector("#legend tbody");
const told = place.querySelector("#marks");
const time = new SiteTime(facts.zone, Date.parse(place.dataset.now));
const chart = new ManyChart(canvas, time, words);
const boxes = [...form.querySelectorAll("input[name=tank]")];
const named = Object.fromEntries(facts.tanks.map((tank) => [tank.id, tank]));
let now = Date.parse(place.dataset.now);
let asked = 0;
let running = null;
let moved = null;
let leftOut = "";

const tanks = () => boxes.filter((box) => box.checked).map((box) => box.value);
const quantities = () => [...new Set([form.elements.first.value, form.elements.second.value])].filter(Boolean);

function query() {
  const { start, end } = chart.view;
  return {
    tanks: tanks().join(","),
    quantities: quantities().join(","),
    start: new Date(Math.round(start)).toISOString(),
    span: String(Math.round(end - start) / 1000),
  };
}

// The address keeps what is in view; while the view follows the newest data it has no start. The link always has one.
function address() {
  const { start, ...rest } = query();
  history.replaceState(null, "", `?${new URLSearchParams(moved?.following ? rest : { ...rest, start })}`);
  place.querySelector("#link").href = `/trends?${new URLSearchParams(query())}`;
  const csv = new URLSearchParams({ ...query(), points: CSV_POINTS });
  place.querySelector("#csv").href = `/api/trends.csv?${csv}`;
}

async function read(path, asking, signal) {
  const answer = await fetch(`${path}?${new URLSearchParams(asking)}`, { signal });
  const body = await answer.json();
  if (!answer.ok) throw new Error(body.detail);
  return body;
}

async function ask() {
  if (!tanks().length) return;
  running?.abort();
  running = new AbortController();
  const { signal } = running;
  const { quantities: columns, ...rest } = query();
  asked = performance.now();
  address();
  const wanted = { ...rest, quantities: columns, points: String(POINTS) };
  const [drawn, marked] = await Promise.allSettled([
    read("/api/trends", wanted, signal),
    read("/api/trends/marks", rest, signal),
  ]);
  if (signal.aborted) return;
  const why = ({ reason }) => (reason instanceof TypeError ? words.offline : reason.message);
  if (drawn.status === "fulfilled") show(drawn.value, wanted);
  else {
    chart.empty = fill(words.failed, { why: why(drawn) });
    said.textContent = chart.empty;
  }
  if (marked.status === "fulfilled") {
    const at = (text) => (text === null ? null : Date.parse(text));
    chart.marks = marked.value.marks.map((mark) => ({ ...mark, start: at(mark.start), end: at(mark.end) }));
    leftOut = marked.value.left_out ? fill(words.left_out, { count: marked.value.left_out }) : "";
  } else leftOut = fill(words.marks_failed, { why: why(marked) });
  chart.draw();
  tell();
}

function show(body, wanted) {
  if (wanted.quantities !== quantities().join(",") || wanted.tanks !== tanks().join(",")) return;
  const order = tanks();
  const columns = quantities();
  const bucket = (body.span_s * 1000) / POINTS;
  const tillNow = chart.view.end >= now - body.span_s * 10; // within a hundredth of the span
  chart.series = body.series.map((one) => {
    const k = order.indexOf(one.tank);
    const axis = columns.indexOf(one.quantity);
    const points = one.t.map((t, i) => ({
      t: Date.parse(t),
      min: one.min[i],
      mean: one.mean[i],
      max: one.max[i],
      good: one.good[i],
    }));
    const last = points.findLast((point) => point.mean !== null);
    const ends = last && now - last.t > named[one.tank].stale_after_s * 1000 + 2 * bucket && tillNow;
    const letter = "ABCDEF"[k];
    return {
      tank: one.tank,
      points,
      joins: named[one.tank].stale_after_s * 1000,
      column: facts.columns[one.quantity],
      axis,
      dash: DASHES[k],
      letter: axis ? letter.toLowerCase() : letter,
      ended: ends ? last.t : null,
    };
  });
  chart.limits = order.length === 1 ? (named[order[0]].lines[columns[0]] ?? []) : [];
  chart.empty = words.empty;
  said.textContent = words.help;
}

function cell(row, text, numeric = true) {
  const made = document.createElement("td");
  if (numeric) made.className = "n";
  made.textContent = text;
  row.append(made);
  return made;
}

function sample(one) {
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  const line = document.createElementNS("http://www.w3.org/2000/svg", "path");
  for (const [name, value] of [["width", 64], ["height", 14], ["aria-hidden", true]]) svg.setAttribute(name, value);
  line.setAttribute("d", "M0 7h64");
  line.setAttribute("stroke-dasharray", one.dash.join(" "));
  line.setAttribute("class", one.axis ? "sample thin" : "sample");
  svg.append(line);
  return svg;
}

// What each line says at the cursor, or at its newest point.
function tell() {
  const cursor = chart.cursor;
  const rows = chart.series.map((one) => {
    const row = document.createElement("tr");
    const { column, points } = one;
    const point = cursor === null ? points.findLast(({ mean }) => mean !== null) : chart.pointAt(cursor, points);
    const shown = (value) => written(value, column);
    const head = document.createElement("th");
    head.scope = "row";
    head.append(`${one.letter} `, sample(one), ` ${named[one.tank].name}`);
    row.append(head);
    cell(row, `${column.name}${one.axis ? ` (${words.second})` : ""}`, false);
    cell(row, point ? `${shown(point.mean)} ${column.unit}` : words.no_value);
    cell(row, point && point.min !== point.max ? `${shown(point.min)} … ${shown(point.max)}` : "");
    cell(row, point ? time.moment(point.t) : "");
    const partly = point && point.good < 1 ? words.partly : "";
    const ended = one.ended === null ? "" : fill(words.ends, { time: time.moment(one.ended) });
    cell(row, [partly, ended].filter(Boolean).join("; "), false);
    return row;
  });
  table.replaceChildren(...rows);
  const marks = cursor === null ? chart.marks.filter(({ end }) => end === null) : chart.marksAt(cursor);
  const lines = KINDS.flatMap((kind) => marks.filter((mark) => mark.kind === kind)).map(line);
  told.replaceChildren(...[...lines.slice(0, 12), leftOut].filter(Boolean).map(item));
  if (cursor !== null) said.textContent = time.moment(cursor);
  else if (chart.series.length) said.textContent = words.help;
}

function line(mark) {
  const from = mark.start === null ? words.before : time.moment(mark.start);
  const start = mark.start === null ? fill(from, { time: time.moment(chart.view.start) }) : from;
  const end = mark.end === null ? words.now : time.moment(mark.end);
  return `${words[`one_${mark.kind}`]}: ${named[mark.tank].name}, ${mark.words}, ${start} – ${end}`;
}

function item(text) {
  const made = document.createElement("li");
  made.textContent = text;
  return made;
}

function period() {
  return `${time.full(chart.view.start)} – ${time.full(chart.view.end)} (${facts.zone})`;
}

function legend() {
  return chart.series.map((one) => ({
    dash: one.dash,
    thin: one.axis === 1,
    text: `${one.letter}  ${named[one.tank].name}: ${one.column.name}, ${one.column.unit}`,
  }));
}

form.addEventListener("change", (event) => {
  if (tanks().length > words.most_tanks) {
    event.target.checked = false;
    said.textContent = words.most;
    return;
  }
  chart.series = [];
  chart.marks = [];
  chart.limits = [];
  chart.empty = tanks().length ? words.loading : words.none_chosen;
  if (!tanks().length) said.textContent = words.none_chosen;
  chart.draw();
  tell();
  ask();
});
form.addEventListener("submit", (event) => event.preventDefault());
place.querySelector("#picture").addEventListener("click", async () => {
  await picture(canvas, {
    title: `${facts.site}: ${quantities()
      .map((name) => `${facts.columns[name].name}, ${facts.columns[name].unit}`)
      .join(" · ")}`,
    period: period(),
    legend: legend(),
    notes: [facts.simulated ? words.simulated : "", words.caution].filter(Boolean),
    name: `trend-${new Date(Math.round(chart.view.start)).toISOString().slice(0, 16).replace(":", "")}.png`,
  });
  said.textContent = words.saved;
});
document.addEventListener("state", (event) => {
  now = chart.now = Date.parse(event.detail.time);
  const due = Math.max(2000, moved.span / chart.width);
  if (moved.tick(now) && performance.now() - asked > due) moved.follow();
});

chart.now = now;
chart.empty = words.loading;
moved = moving(
  canvas,
  chart,
  [...place.querySelectorAll("button[data-span]")],
  { now, span: Number(place.dataset.span) * 1000, start: place.dataset.start ? Number(place.dataset.start) : null },
  { changed: ask, looked: tell },
);
