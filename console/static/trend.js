// The trend of a page: which quantity, which span, moved by mouse and keys, read out as text. Asks for a fresh envelope
// of just what is in sight; until it comes, the old one is drawn at its place.

import { fill } from "./ask.js";
import { Chart } from "./chart.js";
import { number, SiteTime } from "./scale.js";

const SHORTEST_MS = 10_000;
const LONGEST_MS = 3660 * 86_400_000;
const WAIT_MS = 120;

export function trend(place, facts, words) {
  const canvas = place.querySelector("canvas");
  const readout = place.querySelector("output");
  const choice = place.querySelector("select");
  const spans = [...place.querySelectorAll("button[data-span]")];
  const time = new SiteTime(facts.zone);
  const chart = new Chart(canvas, time);
  let column = choice?.value ?? Object.keys(facts.columns)[0];
  let now = Date.parse(place.dataset.now);
  let span = Number(place.dataset.span) * 1000;
  let following = true;
  let asked = 0;
  let timer = 0;
  let running = null;

  function sight(start, length) {
    span = Math.min(LONGEST_MS, Math.max(SHORTEST_MS, length));
    const end = Math.min(start + span, now + span * 0.1);
    chart.view = { start: end - span, end };
    following = end >= now - span * 0.01;
    mark();
    chart.draw();
    clearTimeout(timer);
    timer = setTimeout(ask, WAIT_MS);
  }

  function follow(length = span) {
    sight(now - length, length);
    following = true;
  }

  function mark() {
    for (const button of spans) {
      button.setAttribute("aria-pressed", String(following && Number(button.dataset.span) * 1000 === span));
    }
  }

  async function ask() {
    running?.abort();
    running = new AbortController();
    const { signal } = running;
    const { start, end } = chart.view;
    const wanted = column;
    asked = performance.now();
    const query = new URLSearchParams({
      quantity: wanted,
      start: new Date(start).toISOString(),
      span: String((end - start) / 1000),
      points: String(Math.min(2000, Math.max(10, Math.round(chart.width)))),
    });
    try {
      const answer = await fetch(`/api/tanks/${facts.tank}/trend?${query}`, { signal });
      const body = await answer.json();
      if (!answer.ok) throw new Error(body.detail);
      show(body, wanted);
    } catch (error) {
      if (signal.aborted) return;
      const why = error instanceof TypeError ? words.offline : error.message;
      chart.empty = fill(words.chart_failed, { why });
      readout.textContent = chart.empty;
      chart.draw();
    }
  }

  function show(body, wanted) {
    if (wanted !== column) return;
    chart.column = facts.columns[column];
    chart.marks = facts.marks ?? [];
    chart.points = body.t.map((t, i) => ({
      t: Date.parse(t),
      min: body.min[i],
      mean: body.mean[i],
      max: body.max[i],
      good: body.good[i],
    }));
    chart.empty = words.chart_empty;
    chart.draw();
    tell();
  }

  function written(value) {
    const { factor, offset = 0, decimals, signed } = facts.columns[column];
    return number(value * factor + offset, decimals, signed);
  }

  function tell() {
    if (chart.cursor === null) {
      readout.textContent = words.chart_help;
      return;
    }
    const point = chart.pointAt(chart.cursor);
    const unit = facts.columns[column].unit;
    if (!point) {
      readout.textContent = `${time.moment(chart.cursor)} · ${words.chart_gap}`;
      return;
    }
    const [low, high] = [written(point.min), written(point.max)];
    const spread = low === high ? "" : ` · ${low} … ${high}`;
    const partly = point.good < 1 ? ` · ${words.chart_partly}` : "";
    readout.textContent = `${time.moment(point.t)} · ${written(point.mean)} ${unit}${spread}${partly}`;
  }

  function look(ms) {
    chart.cursor = ms;
    chart.draw();
    tell();
  }

  function zoom(factor, about) {
    const { start } = chart.view;
    sight(about - (about - start) * factor, span * factor);
  }

  function keys(event) {
    const { start, end } = chart.view;
    const step = ((chart.view.end - start) / chart.width) * (event.shiftKey ? 20 : 4);
    const moves = {
      ArrowLeft: () => sight(start - span / 10, span),
      ArrowRight: () => sight(start + span / 10, span),
      "+": () => zoom(0.5, chart.cursor ?? (start + end) / 2),
      "=": () => zoom(0.5, chart.cursor ?? (start + end) / 2),
      "-": () => zoom(2, chart.cursor ?? (start + end) / 2),
      0: () => follow(Number(place.dataset.span) * 1000),
      "[": () => look(Math.max(start, (chart.cursor ?? end) - step)),
      "]": () => look(Math.min(end, (chart.cursor ?? start) + step)),
    };
    if (!moves[event.key] || event.ctrlKey || event.altKey || event.metaKey) return;
    event.preventDefault();
    moves[event.key]();
  }

  let held = null;
  canvas.addEventListener("pointerdown", (event) => {
    held = { x: event.offsetX, start: chart.view.start };
    canvas.setPointerCapture(event.pointerId);
  });
  canvas.addEventListener("pointermove", (event) => {
    if (held) sight(held.start - ((event.offsetX - held.x) / chart.width) * span, span);
    else look(chart.at(event.offsetX));
  });
  canvas.addEventListener("pointerup", () => (held = null));
  canvas.addEventListener("pointercancel", () => (held = null));
  canvas.addEventListener("pointerleave", () => look(null));
  canvas.addEventListener("dblclick", () => follow(Number(place.dataset.span) * 1000));
  canvas.addEventListener("keydown", keys);
  canvas.addEventListener(
    "wheel",
    (event) => {
      event.preventDefault();
      zoom(event.deltaY > 0 ? 1.25 : 0.8, chart.at(event.offsetX));
    },
    { passive: false },
  );
  for (const button of spans) button.addEventListener("click", () => follow(Number(button.dataset.span) * 1000));
  choice?.addEventListener("change", () => {
    column = choice.value;
    chart.points = [];
    chart.empty = words.chart_loading;
    chart.draw();
    ask();
  });
  new ResizeObserver(() => chart.draw()).observe(canvas);
  document.addEventListener("light", () => chart.draw());
  document.addEventListener("state", (event) => {
    now = Date.parse(event.detail.time);
    const due = Math.max(2000, span / chart.width);
    if (following && !held && !document.hidden && performance.now() - asked > due) follow();
  });
  chart.empty = words.chart_loading;
  follow();
}
