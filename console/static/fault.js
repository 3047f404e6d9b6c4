// A fault's page: its trace on the bands, and what people write of it. Every sample is drawn by itself.

import { both, quantity, refusal } from "./amount.js";
import { act, data, fill, refresh, rememberName } from "./ask.js";
import { Chart } from "./chart.js";
import { number } from "./numbers.js";
import { SiteTime } from "./scale.js";

const words = { ...data("shared"), ...data("words") };
const trace = data("chart");
const place = document.getElementById("trace");
const entries = document.getElementById("entries");
const form = document.getElementById("entry");
const said = form.querySelector("output");
const correcting = form.querySelector(".correcting");
const path = `/loops/${entries.dataset.loop}/faults/${entries.dataset.fault}`;
const TEXTS = ["found_by", "cause", "part", "action", "comment"];
const DIPS = { dip_before_m: "dip before", dip_after_m: "dip after" };
let corrects = null;

function drawTrace() {
  const canvas = place.querySelector("canvas");
  const readout = place.querySelector("output");
  const time = new SiteTime(trace.zone);
  const chart = new Chart(canvas, time);
  const times = trace.points.map(([t]) => t);
  const first = Math.min(...times);
  const last = Math.max(...times);
  const room = Math.max(2000, (last - first) * 0.02);
  const all = { start: first - room, end: last + room };
  chart.column = trace.column;
  chart.marks = trace.marks;
  chart.dots = true;
  chart.points = trace.points.map(([t, mA, outcome]) => ({ t, min: mA, mean: mA, max: mA, good: 1, outcome }));
  chart.view = times.length ? { ...all } : { start: 0, end: 1 };
  const told = trace.points.some(([, mA]) => mA !== null);
  chart.empty = times.length ? words.no_current : words.no_trace;

  function sight(start, length) {
    const span = Math.min(all.end - all.start, Math.max(2000, length));
    const from = Math.min(all.end - span, Math.max(all.start, start));
    chart.view = { start: from, end: from + span };
    chart.draw();
  }

  function look(ms) {
    chart.cursor = ms;
    chart.draw();
    const point = ms === null ? null : chart.pointAt(ms);
    if (point) {
      const outcome = point.outcome === "ok" ? "" : ` · ${point.outcome}`;
      readout.textContent = `${time.moment(point.t)} · ${number(point.mean, 4)} ${trace.column.unit}${outcome}`;
    } else readout.textContent = ms === null ? words.trace_help : `${time.moment(ms)} · ${words.chart_gap}`;
  }

  function zoom(factor, about) {
    const { start, end } = chart.view;
    sight(about - (about - start) * factor, (end - start) * factor);
  }

  canvas.addEventListener("pointermove", (event) => look(chart.at(event.offsetX)));
  canvas.addEventListener("pointerleave", () => look(null));
  canvas.addEventListener("dblclick", () => sight(all.start, all.end - all.start));
  canvas.addEventListener(
    "wheel",
    (event) => {
      event.preventDefault();
      zoom(event.deltaY > 0 ? 1.25 : 0.8, chart.at(event.offsetX));
    },
    { passive: false },
  );
  canvas.addEventListener("keydown", (event) => {
    const { start, end } = chart.view;
    const span = end - start;
    const middle = chart.cursor ?? (start + end) / 2;
    const step = (span / chart.width) * 4;
    const moves = {
      ArrowLeft: () => sight(start - span / 10, span),
      ArrowRight: () => sight(start + span / 10, span),
      "+": () => zoom(0.5, middle),
      "=": () => zoom(0.5, middle),
      "-": () => zoom(2, middle),
      0: () => sight(all.start, all.end - all.start),
      "[": () => look(Math.max(start, (chart.cursor ?? last + step) - step)),
      "]": () => look(Math.min(end, (chart.cursor ?? first - step) + step)),
    };
    if (!moves[event.key] || event.ctrlKey || event.altKey || event.metaKey) return;
    event.preventDefault();
    moves[event.key]();
  });
  new ResizeObserver(() => chart.draw()).observe(canvas);
  document.addEventListener("light", () => chart.draw());
  chart.draw();
  readout.textContent = told ? words.trace_help : chart.empty;
}

function say(text, input) {
  said.textContent = text;
  input?.focus();
}

function startCorrecting(entry) {
  corrects = entry;
  correcting.toggleAttribute("data-off", entry === null);
  correcting.querySelector("span").textContent = entry === null ? "" : fill(words.corrects, { entry });
}

async function write(event) {
  event.preventDefault();
  const { elements } = form;
  const by = elements.by.value.trim();
  if (!by) return say(words.name_first, elements.by);
  const body = { by, close: elements.close.checked, corrects };
  for (const name of TEXTS) body[name] = elements[name].value.trim();
  for (const [name, what] of Object.entries(DIPS)) {
    body[name] = quantity(elements[name], "dip_m");
    if (Number.isNaN(body[name])) return say(`${what}: ${refusal()}`, elements[name]);
  }
  const something = body.close || corrects !== null || [...TEXTS, ...Object.keys(DIPS)].some((name) => body[name]);
  if (!something) return say(words.nothing_said, elements.cause);
  const answer = await act(`/api${path}/entries`, body, words.offline);
  if (!answer.ok) return say(fill(words.failed, { why: answer.body.detail ?? answer.status }));
  if (answer.body.status === "already") return say(fill(words.was_closed, { name: answer.body.by }));
  for (const name of [...TEXTS, ...Object.keys(DIPS)]) elements[name].value = "";
  elements.close.checked = false;
  startCorrecting(null);
  const dips = Object.keys(DIPS).filter((name) => body[name] !== null);
  const read = dips.map((name) => `${DIPS[name]} ${both(body[name], "dip_m")}`);
  say([fill(words.written, { entry: answer.body.entry, name: by }), ...read].join(" · "));
  await refresh(entries, `${path}/entries`);
}

entries.addEventListener("click", (event) => {
  const entry = event.target.dataset?.corrects;
  if (!entry) return;
  startCorrecting(Number(entry));
  form.elements.cause.focus();
});
form.elements.drop.addEventListener("click", () => startCorrecting(null));
form.addEventListener("submit", write);

// While the fault goes on its figures move; when it ends, that is told too.
const facts = document.getElementById("facts");
let states = 0;
let busy = false;
let open = Boolean(facts.querySelector("[data-open]"));
document.addEventListener("state", async () => {
  if (busy || document.hidden || !open || states++ % 5) return;
  busy = true;
  await refresh(facts, `${path}/facts`);
  if (!facts.querySelector("[data-open]")) open = (await refresh(entries, `${path}/entries`)) === null;
  busy = false;
});
rememberName(form.elements.by);
drawTrace();
