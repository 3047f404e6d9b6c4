// Which cards a screen with so many rows shows on which page. No page, no clock: cards in, pages of cards out.
// A card: {pin, wide}. Pinned ones stay on top of every page, in turn where there is no room for all of them.

function rowsOf(cards, columns) {
  const rows = [];
  let open = null;
  for (const card of cards) {
    if (card.wide || columns === 1) {
      rows.push([card]);
    } else if (open && open.length < columns) {
      open.push(card);
    } else {
      open = [card];
      rows.push(open);
    }
  }
  return rows;
}

export function pagesOf(cards, columns, room) {
  const pins = cards.filter((card) => card.pin);
  const others = rowsOf(cards.filter((card) => !card.pin), columns);
  // While an alarm stands, one row at least is left to the other tanks, where the screen has more than one at all.
  const slots = Math.min(pins.length, others.length ? Math.max(1, room - 1) : room);
  const left = room - slots;
  const count = Math.max(1, slots ? Math.ceil(pins.length / slots) : 0, left ? Math.ceil(others.length / left) : 0);
  const pages = [];
  for (let page = 0; page < count; page += 1) {
    const shown = [];
    for (let slot = 0; slot < slots; slot += 1) shown.push(pins[(page * slots + slot) % pins.length]);
    const turns = left ? Math.max(1, Math.ceil(others.length / left)) : 1;
    const from = (page % turns) * left;
    shown.push(...others.slice(from, from + left).flat());
    pages.push([...new Set(shown)]);
  }
  return pages;
}
