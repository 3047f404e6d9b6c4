// A number as people type it: spaces between thousands, point or comma. null for an empty field, NaN for what is none.

export function amount(input) {
  const plain = input.value.replace(/[\s\u00a0\u202f]/g, "").replace(",", ".");
  return plain === "" ? null : Number(plain);
}
