// Where axis marks stand and how times are written on a chart. Times are the site's, over summer-time changes too.

import { feet, number } from "./numbers.js";

const SECOND = 1000;
const MINUTE = 60 * SECOND;
const HOUR = 60 * MINUTE;
const DAY = 24 * HOUR;
const STEPS = [
  ...[1, 2, 5, 10, 30].map((n) => n * SECOND),
  ...[1, 2, 5, 10, 30].map((n) => n * MINUTE),
  ...[1, 2, 3, 6, 12].map((n) => n * HOUR),
  ...[1, 2, 7, 14, 28, 91, 364].map((n) => n * DAY),
];

export class SiteTime {
  constructor(zone) {
    const parts = { year: "numeric", month: "2-digit", day: "2-digit", hour: "2-digit", minute: "2-digit" };
    this.format = new Intl.DateTimeFormat("en-GB", { timeZone: zone, ...parts, second: "2-digit", hourCycle: "h23" });
    this.months = new Intl.DateTimeFormat("en-GB", { timeZone: zone, day: "numeric", month: "short" });
  }

  parts(ms) {
    const found = {};
    for (const { type, value } of this.format.formatToParts(ms)) found[type] = value;
    return found;
  }

  // How far the site's clock is ahead of UTC at that instant.
  offset(ms) {
    const p = this.parts(ms);
    return Date.UTC(p.year, p.month - 1, p.day, p.hour, p.minute, p.second) - Math.floor(ms / 1000) * 1000;
  }

  clock(ms, seconds = true) {
    const p = this.parts(ms);
    return seconds ? `${p.hour}:${p.minute}:${p.second}` : `${p.hour}:${p.minute}`;
  }

  day(ms) {
    return this.months.format(ms);
  }

  moment(ms) {
    return `${this.day(ms)} ${this.clock(ms)}`;
  }

  full(ms) {
    const { day, month, year, hour, minute } = this.parts(ms);
    return `${year}-${month}-${day} ${hour}:${minute}`;
  }

  // Marks between two instants, at most `most`, on round hours and days of the site's clock.
  ticks(start, end, most) {
    const step = STEPS.find((size) => (end - start) / size <= most) ?? STEPS[STEPS.length - 1];
    const marks = [];
    let local = Math.ceil((start + this.offset(start)) / step) * step;
    for (let guard = 0; guard < 200; guard += 1, local += step) {
      let at = local - this.offset(local - this.offset(start));
      if (at > end) break;
      if (at < start) continue;
      const midnight = local % DAY === 0;
      marks.push({ at, text: midnight ? this.day(at) : this.clock(at, step < MINUTE), strong: midnight });
    }
    return marks;
  }
}

// Steps of a length in inches, so that marks fall on sixteenths, inches and whole feet.
const INCHES = [1 / 16, 1 / 8, 1 / 4, 1 / 2, 1, 2, 3, 6, 12, 24, 60, 120, 240, 600];

export function ticks(low, high, most, steps = undefined) {
  const raw = (high - low) / most;
  const size = 10 ** Math.floor(Math.log10(raw));
  const step = (steps ?? [1, 2, 5, 10].map((n) => n * size)).find((n) => n >= raw * 0.999999) ?? raw;
  const marks = [];
  for (let value = Math.ceil(low / step) * step; value <= high + step * 1e-6; value += step) marks.push(value);
  return { marks, decimals: Math.max(0, -Math.floor(Math.log10(step) + 1e-9)) };
}

// Marks of a value axis: where each is, in the column's own unit, and its text in the shown one.
export function axis(column, range, most) {
  const { factor, offset = 0, signed, form } = column;
  const long = form === "feet";
  const shown = (value) => value * factor + offset;
  const { marks, decimals } = ticks(shown(range.low), shown(range.high), most, long ? INCHES : undefined);
  const text = (mark) => (long ? feet(mark) : number(mark, decimals, signed));
  return marks.map((mark) => ({ at: (mark - offset) / factor, text: text(mark) }));
}
