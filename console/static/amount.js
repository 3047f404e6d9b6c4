// A figure as a person types it, in their units and number format, to SI; once, here. What can be read in two ways is
// not guessed at: it is refused with the mend. The page brings what it needs in #figures: kinds and words.

import { fill } from "./ask.js";
import { marks, withUnit } from "./numbers.js";

const table = JSON.parse(globalThis.document?.getElementById("figures")?.textContent ?? '{"kinds":{},"words":{}}');
const GROUPED = /^\d{1,3}(?:,\d{3})*$/;
const FEET = /^(?:(\d+(?:\.\d+)?) ?(?:'|ft|feet))?(?: ?-? ?(?:(\d+(?:\.\d+)?)?(?: ?(\d+)\/(2|4|8|16|32|64))?) ?("|in|inch|inches)?)?$/;
let why = "";

// Why the last figure was refused, and the mend.
export const refusal = () => why;

function refuse(word, values) {
  why = fill(table.words[word] ?? word, values);
  return NaN;
}

const plain = (text) => text.replace(/[\s\u00a0\u202f]+/g, " ").trim().replace("\u2212", "-");

// The digits of "1,234.5" by what its marks mean; null where that is no number.
function meant(text, group, decimal) {
  const [whole, part, more] = text.split(decimal);
  if (more !== undefined || (part !== undefined && !/^\d*$/.test(part))) return null;
  if (whole.includes(",") && group !== ",") return null;
  const spaced = whole.replaceAll(group, ",").replaceAll(" ", ",");
  if (whole === "" ? !part : !/^\d+$/.test(whole) && !GROUPED.test(spaced)) return null;
  return `${spaced.replaceAll(",", "") || "0"}${part ? `.${part}` : ""}`;
}

// A number in the chosen format, or in another where it has but one meaning. `said`: the whole of what was typed, to be quoted.
export function read(text, style = undefined, said = text) {
  const [group, decimal] = marks(style);
  const [, sign, rest] = /^([+-]?) ?(.*)$/.exec(plain(text));
  const found = meant(rest, group.trim() || " ", decimal);
  if (found !== null) return Number(sign + found);
  const others = [meant(rest, ",", "."), meant(rest, ".", ",")].filter((one) => one !== null);
  if (!others.length) return refuse("no_number", { text: said });
  if (new Set(others.map(Number)).size === 1) return Number(sign + others[0]); // 27,0 can only be 27
  const mends = others.map((one) => (sign === "-" ? "-" : "") + one.replace(".", decimal));
  return refuse("two_ways", { text: said, mend: mends.join(table.words.or) });
}

// Inches of 6-3-10, 6' 3 5/8", 6 ft 3 in, 75 5/8 in. A bare number is feet to one reader and inches to another.
export function readFeet(text, style = undefined) {
  const [, decimal] = marks(style);
  const flat = plain(text).replaceAll(/[′’]/g, "'").replaceAll(/[″”]|''/g, '"').replaceAll(decimal, ".").toLowerCase();
  if (/^0+$/.test(flat)) return 0;
  const ticket = /^(\d+)-(\d{1,2})-(\d{1,2})$/.exec(flat);
  if (ticket) {
    const [whole, rest, part] = ticket.slice(1).map(Number);
    return rest < 12 && part < 16 ? 12 * whole + rest + part / 16 : refuse("feet_parts", { text });
  }
  const found = FEET.exec(flat);
  if (!found || (found[1] === undefined && found[5] === undefined)) return refuse("feet_how", { text });
  const [whole, rest, above, below] = [1, 2, 3, 4].map((k) => Number(found[k] ?? (k === 4 ? 1 : 0)));
  if (above >= below && above > 0) return refuse("feet_parts", { text });
  if (found[1] !== undefined && rest >= 12) return refuse("feet_parts", { text });
  return 12 * whole + rest + above / below;
}

const name = (unit) => unit.replaceAll(/[\s\u00a0]|^us /gi, "").replaceAll("3", "³").replace("deg", "°").toLowerCase();

// A number without a unit; null for an empty field, NaN for what is none.
export function amount(input) {
  return plain(input.value) === "" ? null : read(input.value);
}

// A text of a kind of figure in SI; NaN where it is refused.
export function inSI(text, { shown, si }, style = undefined) {
  const typed = plain(text);
  const behind = /^[-+\d., ]*\d[., ]*([^\d., ].*)$/.exec(typed);
  const unit = behind && !(shown.form === "feet" && /['"′″/]/.test(typed)) ? behind[1].trim() : "";
  const metric = unit && si.unit !== shown.unit && name(unit) === name(si.unit);
  const by = metric ? si : shown;
  if (by.form === "feet") return exact(readFeet(text, style), by);
  if (unit && name(unit) !== name(by.unit)) {
    const units = [...new Set([shown.unit, si.unit])].join(table.words.or);
    return refuse("no_unit", { text: typed, unit, units });
  }
  return exact(read(unit ? typed.slice(0, -unit.length) : typed, style, typed), by);
}

// Free of the last digits' dust: 1915 mm are 1.915 m.
function exact(value, by) {
  return Number.isNaN(value) ? NaN : Number(((value - (by.offset ?? 0)) / by.factor).toPrecision(12));
}

// What stands in a field, in SI; null for an empty field, NaN for what is refused.
export function quantity(input, kind) {
  return plain(input.value) === "" ? null : inSI(input.value, table.kinds[kind]);
}

// A figure for who wrote it: in their unit, and in the one of the record where that is another.
export function both(value, kind) {
  const { shown, si } = table.kinds[kind];
  const mine = withUnit(value, shown);
  return shown.unit === si.unit ? mine : `${mine} (${withUnit(value, si)})`;
}

export const shownUnit = (kind) => table.kinds[kind].shown.unit;
