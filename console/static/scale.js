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
  ...[1, 2, 7, 14].map((n) => n * DAY),
];
const MONTH = 30 * DAY;
const MONTHS = [1, 2, 3, 6, 12, 24, 60, 120];

export class SiteTime {
  // now: the newest time of the page; days of another year than its own are written with their year.
  constructor(zone, now = null) {
    const parts = { year: "numeric", month: "2-digit", day: "2-digit", hour: "2-digit", minute: "2-digit" };
    this.format = new Intl.DateTimeFormat("en-GB", { timeZone: zone, ...parts, second: "2-digit", hourCycle: "h23" });
    this.months = new Intl.DateTimeFormat("en-GB", { timeZone: zone, day: "numeric", month: "short" });
    this.year = now === null ? null : this.parts(now).year;
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
    const { year } = this.parts(ms);
    const day = this.months.format(ms);
    return this.year === null || this.year === year ? day : `${day} ${year}`;
  }

  moment(ms) {
    return `${this.day(ms)} ${this.clock(ms)}`;
  }

  full(ms) {
    const { day, month, year, hour, minute } = this.parts(ms);
    return `${year}-${month}-${day} ${hour}:${minute}`;
  }

  // The first instant at or after a time of the site's clock: where summer time skips it, the clock's next one.
  instant(local, offset) {
    const at = local - this.offset(local - offset);
    return Math.max(at, local - this.offset(at));
  }

  // Marks between two instants, at most `most`, on round hours, days and months of the site's clock.
  ticks(start, end, most) {
    const step = STEPS.find((size) => (end - start) / size <= most);
    const offset = this.offset(start);
    const marks = [];
    for (const local of step ? every(step, start + offset) : months(start + offset, (end - start) / MONTH / most)) {
      const at = this.instant(local, offset);
      if (at > end) break;
      if (at < start || at === marks.at(-1)?.at) continue;
      const midnight = local % DAY === 0;
      marks.push({ at, text: midnight ? this.day(at) : this.clock(at, step < MINUTE), strong: midnight });
    }
    return marks;
  }
}

const MOST_MARKS = 200;

function* every(step, from) {
  const first = Math.ceil(from / step) * step;
  for (let k = 0; k < MOST_MARKS; k += 1) yield first + k * step;
}

// First days of months, at least so many months apart, in step with the years.
function* months(from, apart) {
  const step = MONTHS.find((n) => n >= apart) ?? MONTHS.at(-1);
  const date = new Date(from);
  const first = Math.floor((12 * date.getUTCFullYear() + date.getUTCMonth()) / step) * step;
  for (let k = 0; k < MOST_MARKS; k += 1) yield Date.UTC(1970, first - 12 * 1970 + k * step, 1);
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
