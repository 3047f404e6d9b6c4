// A chart of several tanks: lines told apart by their dash and a letter, at most two axes, and below the drawing three
// lanes with the stretches of alarms, movements and loop faults. Draws only, like the chart that it is made from.

import { ALONE, Chart, runs } from "./chart.js";
import { axis as marksOf } from "./scale.js";

export const DASHES = [[], [9, 4], [2, 3], [12, 3, 2, 3], [18, 5], [5, 3, 2, 3, 2, 3]];
export const KINDS = ["alarm", "movement", "fault"];
const LANE = 18;
const NEAR_PX = 4;

export class ManyChart extends Chart {
  constructor(canvas, time, words) {
    super(canvas, time);
    this.words = words;
    this.series = []; // {points, joins, column, axis, dash, letter, ended}
    this.marks = [];
    [this.left, this.right, this.top, this.bottom] = [92, 24, 30, 40 + KINDS.length * LANE];
  }

  axis(k) {
    const mine = this.series.filter((one) => one.axis === k);
    if (!mine.length) return null;
    const { column } = mine[0];
    const range = this.range(
      mine.flatMap((one) => one.points),
      column,
    );
    if (!range) return null;
    const y = (value) => this.top + (1 - (value - range.low) / (range.high - range.low)) * this.height;
    return { column, range, y };
  }

  draw() {
    const { pen, ink } = this.begin();
    this.right = this.limits?.length || this.series.some((one) => one.axis) ? 92 : 24;
    const axes = [this.axis(0), this.axis(1)];
    this.times(pen, ink);
    this.lanes(pen, ink);
    if (!axes[0] && !axes[1]) {
      this.blank(pen, ink);
      return;
    }
    if (axes[0]) {
      this.column = { ...axes[0].column, lines: this.limits ?? [] };
      this.values(pen, ink, axes[0].range, axes[0].y);
    }
    if (axes[1]) this.second(pen, ink, axes[1]);
    this.units(pen, ink, axes);
    pen.save();
    pen.beginPath();
    pen.rect(this.left, this.top - 4, this.width, this.height + 12);
    pen.clip();
    for (const one of this.series) if (axes[one.axis]) this.line(pen, ink, one, axes[one.axis].y);
    pen.restore();
    for (const one of this.series) if (axes[one.axis]) this.ends(pen, ink, one, axes[one.axis].y);
    if (axes[0] && !axes[1]) this.lines(pen, ink, axes[0].range, axes[0].y);
    this.upright(pen, ink, axes);
  }

  second(pen, ink, { column, range, y }) {
    const marks = marksOf(column, range, Math.max(2, this.height / 48));
    const edge = this.left + this.width;
    pen.textAlign = "left";
    pen.fillStyle = ink("label");
    pen.strokeStyle = ink("rule");
    pen.beginPath();
    for (const { at, text } of marks) {
      const place = Math.round(y(at)) + 0.5;
      pen.moveTo(edge, place);
      pen.lineTo(edge + 6, place);
      pen.fillText(text, edge + 12, place);
    }
    pen.stroke();
    pen.strokeRect(this.left + 0.5, this.top + 0.5, this.width, this.height);
  }

  units(pen, ink, axes) {
    pen.fillStyle = ink("figure");
    const sides = [
      ["left", this.left],
      ["right", this.left + this.width],
    ];
    axes.forEach((axis, k) => {
      if (!axis) return;
      pen.textAlign = sides[k][0];
      pen.fillText(`${axis.column.name}, ${axis.column.unit}`, sides[k][1], this.top - 16);
    });
  }

  // The means as one dashed line, and upright strokes low..high wherever they are further apart than the line is thick:
  // a spike of a single sample keeps its height, and its dash stays to be read.
  line(pen, ink, one, y) {
    const thick = one.axis ? 1.1 : 1.9;
    pen.strokeStyle = ink(one.axis ? "label" : "figure");
    pen.lineWidth = 1;
    pen.beginPath();
    for (const { t, min, max } of one.points) {
      if (min === null || Math.abs(y(max) - y(min)) < 2) continue;
      const x = this.x(t);
      pen.moveTo(x, y(min));
      pen.lineTo(x, y(max));
    }
    pen.stroke();
    pen.lineWidth = thick;
    pen.lineJoin = "bevel";
    pen.setLineDash(one.dash);
    pen.beginPath();
    for (const run of runs(one.points, one.joins)) {
      pen.moveTo(this.x(run[0].t) - ALONE, y(run[0].mean));
      pen.lineTo(this.x(run[0].t) + ALONE, y(run[0].mean));
      for (const { t, mean } of run.slice(1)) pen.lineTo(this.x(t), y(mean));
    }
    pen.stroke();
    pen.setLineDash([]);
  }

  // A letter on the line, and a cross where a tank's values have ended although time went on.
  ends(pen, ink, one, y) {
    const seen = one.points.filter(({ t, mean }) => mean !== null && t >= this.view.start && t <= this.view.end);
    if (!seen.length) return;
    pen.textAlign = "center";
    const letters = this.series.length;
    const k = this.series.indexOf(one);
    for (const part of [(k + 0.5) / letters / 2, 0.5 + (k + 0.5) / letters / 2]) {
      const point = seen[Math.floor(part * seen.length)];
      const [x, place] = [this.x(point.t), y(point.mean)];
      pen.fillStyle = ink("face");
      pen.fillRect(x - 8, place - 8, 16, 16);
      pen.fillStyle = ink("figure");
      pen.fillText(one.letter, x, place + 1);
    }
    if (one.ended === null) return;
    const last = seen[seen.length - 1];
    const [x, place] = [this.x(last.t), y(last.mean)];
    pen.strokeStyle = ink("figure");
    pen.lineWidth = 2;
    pen.beginPath();
    for (const way of [-1, 1]) {
      pen.moveTo(x - 5, place - 5 * way);
      pen.lineTo(x + 5, place + 5 * way);
    }
    pen.stroke();
    this.hatched(pen, ink, x + 7);
  }

  // From here on nothing came: hatched, so that an old end never looks like a level line.
  hatched(pen, ink, from) {
    const right = Math.min(this.left + this.width, this.x(this.now ?? this.view.end));
    if (right - from < 3) return;
    pen.save();
    pen.beginPath();
    pen.rect(from, this.top, right - from, this.height);
    pen.clip();
    pen.strokeStyle = ink("hatch");
    pen.lineWidth = 1;
    pen.beginPath();
    for (let x = from - this.height; x < right; x += 11) {
      pen.moveTo(x, this.top + this.height);
      pen.lineTo(x + this.height, this.top);
    }
    pen.stroke();
    pen.restore();
  }

  place(mark) {
    const left = this.x(Math.max(mark.start ?? -Infinity, this.view.start));
    const right = this.x(Math.min(mark.end ?? this.now ?? this.view.end, this.view.end));
    return [left, Math.max(right, left + 3)];
  }

  lanes(pen, ink) {
    const first = this.top + this.height + 44;
    pen.lineWidth = 1;
    KINDS.forEach((kind, k) => {
      const middle = first + k * LANE;
      pen.textAlign = "right";
      pen.fillStyle = ink("label");
      pen.fillText(this.words[kind], this.left - 10, middle);
      pen.strokeStyle = ink("hair");
      pen.beginPath();
      pen.moveTo(this.left, middle + 0.5);
      pen.lineTo(this.left + this.width, middle + 0.5);
      pen.stroke();
      for (const mark of this.marks) {
        if (mark.kind !== kind || (mark.end !== null && mark.end < this.view.start)) continue;
        if (mark.start !== null && mark.start > this.view.end) continue;
        this.bar(pen, ink, mark, middle);
      }
    });
  }

  // An alarm is a filled bar, higher the more it presses; a movement a hollow one; a fault a zigzag.
  bar(pen, ink, mark, middle) {
    const [left, right] = this.place(mark);
    pen.strokeStyle = ink("figure");
    if (mark.kind === "fault") {
      pen.lineWidth = 1.6;
      pen.beginPath();
      pen.moveTo(left, middle + 4);
      for (let x = left, up = true; x < right + 4; x += 4, up = !up) pen.lineTo(x, middle + (up ? -4 : 4));
      pen.stroke();
      return;
    }
    const half = mark.kind === "alarm" ? [7, 5, 3][mark.priority - 1] : 4;
    pen.fillStyle = ink(mark.kind === "movement" ? "dry" : (["alarm", "warn"][mark.priority - 1] ?? "label"));
    pen.fillRect(left, middle - half, right - left, 2 * half);
    pen.lineWidth = 1;
    pen.strokeRect(left + 0.5, middle - half + 0.5, Math.max(1, right - left - 1), 2 * half - 1);
  }

  // The marks under an instant, or within a few pixels of it.
  marksAt(ms) {
    const x = this.x(ms);
    return this.marks.filter((mark) => {
      const [left, right] = this.place(mark);
      return x >= left - NEAR_PX && x <= right + NEAR_PX;
    });
  }

  upright(pen, ink, axes) {
    if (this.cursor === null) return;
    const x = Math.round(this.x(this.cursor)) + 0.5;
    pen.strokeStyle = ink("focus");
    pen.lineWidth = 1;
    pen.beginPath();
    pen.moveTo(x, this.top);
    pen.lineTo(x, this.canvas.clientHeight);
    pen.stroke();
    pen.lineWidth = 2;
    for (const one of this.series) {
      const point = this.pointAt(this.cursor, one.points);
      if (point && axes[one.axis]) pen.strokeRect(this.x(point.t) - 4, axes[one.axis].y(point.mean) - 4, 8, 8);
    }
  }
}
