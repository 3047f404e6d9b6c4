// The trend of a page: which quantity, which span, read out as text. Asks for a fresh envelope of just what is in sight;
// until it comes, the old one is drawn at its place.

import { fill } from "./ask.js";
import { Chart } from "./chart.js";
import { moving } from "./moving.js";
import { written as figure } from "./numbers.js";
import { SiteTime } from "./scale.js";

export function trend(place, facts, words) {
  const canvas = place.querySelector("canvas");
  const readout = place.querySelector("output");
  const choice = place.querySelector("select");
  const time = new SiteTime(facts.zone, Date.parse(place.dataset.now));
  const chart = new Chart(canvas, time);
  chart.joins = facts.stale_after_s * 1000;
  let column = choice?.value ?? Object.keys(facts.columns)[0];
  let asked = 0;
  let running = null;

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
    return figure(value, facts.columns[column]);
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

  choice?.addEventListener("change", () => {
    column = choice.value;
    chart.points = [];
    chart.empty = words.chart_loading;
    chart.draw();
    ask();
  });
  chart.empty = words.chart_loading;
  const from = { now: Date.parse(place.dataset.now), span: Number(place.dataset.span) * 1000 };
  const spans = [...place.querySelectorAll("button[data-span]")];
  const moved = moving(canvas, chart, spans, from, { changed: ask, looked: tell });
  document.addEventListener("state", (event) => {
    const due = Math.max(2000, moved.span / chart.width);
    if (moved.tick(Date.parse(event.detail.time)) && performance.now() - asked > due) moved.follow();
  });
}
