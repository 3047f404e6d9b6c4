// How numbers are written and read, by the person's choice: the server's own way (console/numbers.py, console/units.py),
// a test holds both against each other. What a unit is comes with the page; nothing is known of units here but feet.

const THIN = "\u202f";
const MINUS = "\u2212";
const NBSP = "\u00a0";
const STYLES = { space: [THIN, "."], comma: [",", "."], "decimal-comma": [THIN, ","] };
const SIXTEENTHS = 16;

export const marks = (style) => STYLES[style ?? globalThis.document?.documentElement.dataset.numbers] ?? STYLES.space;

// Half of the last digit goes to the even one, as on the server; toFixed alone would round it up.
function fixed(size, decimals) {
  const exact = size.toFixed(decimals + 20);
  const head = exact.slice(0, exact.length - 20).replace(/\.$/, "");
  const tie = /^50*$/.test(exact.slice(-20));
  return tie && "02468".includes(head.at(-1)) ? head : size.toFixed(decimals);
}

export function number(value, decimals, signed = false, style = undefined) {
  const [group, decimal] = marks(style);
  const text = fixed(Math.abs(value), decimals);
  const [whole, part] = text.split(".");
  const grouped = whole.replace(/\B(?=(\d{3})+$)/g, group) + (part ? decimal + part : "");
  if (!/[1-9]/.test(text)) return grouped;
  return (value < 0 ? MINUS : signed ? "+" : "") + grouped;
}

function split(inches) {
  const count = Math.floor(Math.abs(inches) * SIXTEENTHS + 0.5);
  const sign = count && inches < 0 ? MINUS : "";
  const whole = Math.floor(count / (12 * SIXTEENTHS));
  const rest = count % (12 * SIXTEENTHS);
  return [sign, whole, Math.floor(rest / SIXTEENTHS), rest % SIXTEENTHS];
}

const two = (count) => String(count).padStart(2, "0");

export function feet(inches) {
  const [sign, whole, rest, part] = split(inches);
  return `${sign}${whole}-${two(rest)}-${two(part)}`;
}

export function feetInWords(inches) {
  const [sign, whole, rest, part] = split(inches);
  return `${sign}${whole} ft ${rest} ${part}/16 in`.replaceAll(" ", NBSP);
}

// A figure in SI as it is shown: {factor, offset, decimals, signed, form}, without the unit and with it.
export function written(value, by, style = undefined) {
  const told = value * by.factor + (by.offset ?? 0);
  return by.form === "feet" ? feet(told) : number(told, by.decimals, by.signed, style);
}

export function withUnit(value, by, style = undefined) {
  if (by.form === "feet") return feetInWords(value * by.factor + (by.offset ?? 0));
  return `${written(value, by, style)}${NBSP}${by.unit.replaceAll(" ", NBSP)}`;
}
