// A trend on a canvas: one upright stroke low..high for each stretch of time, joined to the next, so that a spike of a
// single sample keeps its full height and full ink. Limits are dashed, gaps are gaps, what was not wholly good has a
// mark below. Draws only: what to draw and when is trend.js's business.

import { axis as marksOf } from "./scale.js";

// How far readings lie apart around a place between two of them: of up to two on both sides the one in the middle, the
// shorter where there are two; 0 where too few are known.
function usual(apart, k) {
  const around = [k - 2, k - 1, k + 1, k + 2].map((i) => apart[i]).filter((ms) => ms !== undefined);
  return around.length < 2 ? 0 : around.sort((a, b) => a - b)[Math.floor((around.length - 1) / 2)];
}

// Stretches are cut where readings lie further apart than `joins` ms, and twice as far as those around them: what was
// once measured less often is no row of holes.
function cut(stretch, joins, place) {
  const apart = stretch.slice(1).map((point, k) => point.t - stretch[k].t);
  const found = [];
  let from = 0;
  apart.forEach((ms, k) => {
    const over = ms - place - 1;
    if (over <= joins || over <= 2 * usual(apart, k)) return;
    found.push(stretch.slice(from, k + 1));
    from = k + 1;
  });
  return [...found, stretch.slice(from)];
}

// What is drawn without lifting the pen: a reading without a value ends a stretch, and so does a hole between readings.
// Where readings come less often than the chart has room for, empty places are no hole.
export function runs(points, joins) {
  const place = points.length > 1 ? points[1].t - points[0].t : 0;
  const stretches = [[]];
  for (const point of points) {
    if (point.min !== null) stretches.at(-1).push(point);
    else if (point.good !== null) stretches.push([]);
  }
  return stretches.filter((one) => one.length).flatMap((one) => cut(one, joins, place));
}

// Half of what a reading by itself is long, so that it is seen.
export const ALONE = 1.5;

export class Chart {
  constructor(canvas, time) {
    this.canvas = canvas;
    this.time = time;
    this.column = null;
    this.points = [];
    this.view = { start: 0, end: 1 };
    this.cursor = null;
    this.empty = "";
    this.marks = []; // stretches of time with a name; one without an end goes on
    this.joins = Infinity; // see runs
    this.dots = false; // each point by itself, where there is room
    [this.left, this.right, this.top, this.bottom] = [82, 92, 12, 40]; // margins
  }

  get width() {
    return Math.max(10, this.canvas.clientWidth - this.left - this.right);
  }

  get height() {
    return Math.max(10, this.canvas.clientHeight - this.top - this.bottom);
  }

  x(ms) {
    return this.left + ((ms - this.view.start) / (this.view.end - this.view.start)) * this.width;
  }

  // The instant under a place of the canvas, held within the drawing.
  at(x) {
    const part = Math.min(1, Math.max(0, (x - this.left) / this.width));
    return this.view.start + part * (this.view.end - this.view.start);
  }

  // The point that covers an instant, or the nearest one with a value within a few pixels.
  pointAt(ms, points = this.points) {
    let best = null;
    const reach = ((this.view.end - this.view.start) / this.width) * 6;
    for (const point of points) {
      const away = Math.abs(point.t - ms);
      if (point.min !== null && away <= reach && (!best || away < Math.abs(best.t - ms))) best = point;
    }
    return best;
  }

  range(points = this.points, column = this.column) {
    let low = Infinity;
    let high = -Infinity;
    for (const { t, min, max } of points) {
      if (min === null || t < this.view.start || t > this.view.end) continue;
      low = Math.min(low, min);
      high = Math.max(high, max);
    }
    if (low > high) return null;
    const least = (2 * 10 ** -column.decimals) / column.factor;
    const room = Math.max((high - low) * 0.08, least);
    return { low: low - room, high: high + room };
  }

  // An empty canvas at the screen's own fineness, and the page's inks by their names.
  begin() {
    const { canvas } = this;
    const ratio = window.devicePixelRatio || 1;
    const [w, h] = [canvas.clientWidth, canvas.clientHeight];
    if (canvas.width !== Math.round(w * ratio)) canvas.width = Math.round(w * ratio);
    if (canvas.height !== Math.round(h * ratio)) canvas.height = Math.round(h * ratio);
    const pen = canvas.getContext("2d");
    const style = getComputedStyle(canvas);
    const ink = (name) => style.getPropertyValue(`--${name}`).trim();
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    pen.clearRect(0, 0, w, h);
    pen.font = `13px ${style.fontFamily}`;
    pen.textBaseline = "middle";
    return { pen, ink };
  }

  blank(pen, ink) {
    pen.fillStyle = ink("label");
    pen.textAlign = "center";
    pen.fillText(this.empty, this.left + this.width / 2, this.top + this.height / 2);
  }

  draw() {
    const { pen, ink } = this.begin();
    const range = this.column && this.range();
    this.times(pen, ink);
    if (!range) {
      this.blank(pen, ink);
      return;
    }
    const y = (value) => this.top + (1 - (value - range.low) / (range.high - range.low)) * this.height;
    this.values(pen, ink, range, y);
    pen.save();
    pen.beginPath();
    pen.rect(this.left, this.top - 4, this.width, this.height + 12);
    pen.clip();
    this.bands(pen, ink, range, y);
    this.trust(pen, ink);
    this.envelope(pen, ink, y);
    pen.restore();
    this.stretches(pen, ink);
    this.lines(pen, ink, range, y);
    this.pointer(pen, ink, y);
  }

  times(pen, ink) {
    pen.lineWidth = 1;
    pen.textAlign = "center";
    let free = -Infinity;
    for (const { at, text, strong } of this.time.ticks(this.view.start, this.view.end, this.width / 90)) {
      const x = Math.round(this.x(at)) + 0.5;
      pen.strokeStyle = ink(strong ? "rule" : "hair");
      pen.beginPath();
      pen.moveTo(x, this.top);
      pen.lineTo(x, this.top + this.height + 8);
      pen.stroke();
      const half = pen.measureText(text).width / 2;
      if (x - half < free) continue;
      free = x + half + 10;
      pen.fillStyle = ink(strong ? "figure" : "label");
      pen.fillText(text, x, this.top + this.height + 22);
    }
  }

  values(pen, ink, range, y) {
    const marks = marksOf(this.column, range, Math.max(2, this.height / 48));
    pen.textAlign = "right";
    for (const { at, text } of marks) {
      const place = Math.round(y(at)) + 0.5;
      pen.strokeStyle = ink("hair");
      pen.beginPath();
      pen.moveTo(this.left - 6, place);
      pen.lineTo(this.left + this.width, place);
      pen.stroke();
      pen.fillStyle = ink("label");
      pen.fillText(text, this.left - 12, place);
    }
    pen.strokeStyle = ink("rule");
    pen.strokeRect(this.left + 0.5, this.top + 0.5, this.width, this.height);
  }

  // Stretches of the quantity that mean something: hatched for failure, shaded for what is no measurement.
  bands(pen, ink, range, y) {
    for (const { from, to, kind } of this.column.bands ?? []) {
      const top = y(Math.min(to ?? range.high, range.high));
      const bottom = y(Math.max(from ?? range.low, range.low));
      if (bottom <= top) continue;
      if (kind !== "fail") {
        pen.fillStyle = ink(kind === "gap" ? "beyond" : "dry");
        pen.fillRect(this.left, top, this.width, bottom - top);
        continue;
      }
      pen.save();
      pen.beginPath();
      pen.rect(this.left, top, this.width, bottom - top);
      pen.clip();
      pen.strokeStyle = ink("hatch");
      pen.lineWidth = 1;
      pen.beginPath();
      for (let x = this.left - this.height; x < this.left + this.width; x += 9) {
        pen.moveTo(x, this.top + this.height);
        pen.lineTo(x + this.height, this.top);
      }
      pen.stroke();
      pen.restore();
    }
  }

  // Named stretches of time: a bar along the upper edge, a line at each end, the name where there is room for it.
  stretches(pen, ink) {
    let free = -Infinity;
    pen.textAlign = "left";
    for (const { start, end, name } of [...this.marks].sort((a, b) => a.start - b.start)) {
      const upTo = end ?? this.view.end;
      if (upTo < this.view.start || start > this.view.end) continue;
      const left = Math.max(this.left, this.x(start));
      const right = Math.min(this.left + this.width, Math.max(this.x(upTo), left + 2));
      pen.fillStyle = ink("figure");
      pen.fillRect(left, this.top - 6, right - left, 6);
      pen.strokeStyle = ink("figure");
      pen.lineWidth = 1;
      pen.setLineDash([2, 4]);
      pen.beginPath();
      for (const ms of [start, end]) {
        if (ms === null || ms < this.view.start || ms > this.view.end) continue;
        const x = Math.round(this.x(ms)) + 0.5;
        pen.moveTo(x, this.top);
        pen.lineTo(x, this.top + this.height);
      }
      pen.stroke();
      pen.setLineDash([]);
      const width = pen.measureText(name).width;
      const place = left + 6 + width > this.left + this.width ? left - 6 - width : left + 6;
      if (place < Math.max(free, this.left)) continue;
      free = place + width + 6;
      pen.strokeStyle = ink("face"); // a rim around the letters, so that what lies behind them stays to be seen
      pen.lineWidth = 4;
      pen.strokeText(name, place, this.top + 12);
      pen.fillStyle = ink("figure");
      pen.fillText(name, place, this.top + 12);
    }
  }

  // A row of strokes below the drawing, wherever a stretch held samples that were not good.
  trust(pen, ink) {
    pen.strokeStyle = ink("figure");
    pen.lineWidth = 1;
    pen.beginPath();
    for (const { t, good, min } of this.points) {
      if (min === null || good >= 1) continue;
      const x = Math.round(this.x(t)) + 0.5;
      pen.moveTo(x, this.top + this.height + 1);
      pen.lineTo(x, this.top + this.height + 7);
    }
    pen.stroke();
  }

  envelope(pen, ink, y) {
    pen.strokeStyle = ink("figure");
    pen.lineWidth = 1.6;
    pen.lineJoin = "bevel";
    pen.beginPath();
    for (const run of runs(this.points, this.joins)) {
      let drawn = null;
      for (const { t, min, max } of run) {
        const x = this.x(t);
        const [low, high] = [y(min), y(max)];
        if (drawn === null) pen.moveTo(x - ALONE, low);
        else pen.lineTo(x, Math.abs(drawn - low) < Math.abs(drawn - high) ? low : high);
        const last = drawn !== null && Math.abs(drawn - low) >= Math.abs(drawn - high) ? low : high;
        pen.lineTo(drawn === null ? x + ALONE : x, last);
        drawn = last;
      }
    }
    pen.stroke();
    if (!this.dots || this.points.length * 4 > this.width * 3) return;
    pen.fillStyle = ink("figure");
    for (const { t, mean } of this.points) if (mean !== null) pen.fillRect(this.x(t) - 2, y(mean) - 2, 4, 4);
  }

  // Limits in sight are dashed and named; names never lie over one another.
  lines(pen, ink, range, y) {
    pen.textAlign = "left";
    pen.lineWidth = 1.4;
    let free = Infinity;
    const inSight = this.column.lines.filter(({ at }) => at >= range.low && at <= range.high);
    for (const { at, name } of inSight.sort((a, b) => a.at - b.at)) {
      const place = Math.round(y(at)) + 0.5;
      pen.strokeStyle = ink("figure");
      pen.setLineDash([7, 5]);
      pen.beginPath();
      pen.moveTo(this.left, place);
      pen.lineTo(this.left + this.width, place);
      pen.stroke();
      pen.setLineDash([]);
      const label = Math.min(place, free - 16);
      free = label;
      pen.fillStyle = ink("figure");
      pen.fillText(name, this.left + this.width + 8, label);
    }
  }

  pointer(pen, ink, y) {
    const point = this.cursor === null ? null : this.pointAt(this.cursor);
    if (!point) return;
    const x = Math.round(this.x(point.t)) + 0.5;
    pen.strokeStyle = ink("focus");
    pen.lineWidth = 1;
    pen.beginPath();
    pen.moveTo(x, this.top);
    pen.lineTo(x, this.top + this.height);
    pen.stroke();
    pen.lineWidth = 2;
    pen.strokeRect(x - 4, y(point.mean) - 4, 8, 8);
  }
}
