// What a chart shows is moved by mouse, finger and keys, or follows the newest data. Knows spans and gestures; what is
// drawn and asked for is its user's business: `changed` comes a moment after the last move, `looked` with each look.

const SHORTEST_MS = 10_000;
const LONGEST_MS = 3660 * 86_400_000;
const WAIT_MS = 120;

export function moving(canvas, chart, spans, { now, span, start = null }, { changed, looked }) {
  const home = span;
  let following = true;
  let held = null;
  let timer = 0;

  function sight(from, length) {
    span = Math.min(LONGEST_MS, Math.max(SHORTEST_MS, length));
    const end = Math.min(from + span, now + span * 0.1);
    chart.view = { start: end - span, end };
    following = end >= now - span * 0.01;
    mark();
    chart.draw();
    clearTimeout(timer);
    timer = setTimeout(changed, WAIT_MS);
  }

  function follow(length = span) {
    sight(now - length, length);
    following = true;
    mark();
  }

  function mark() {
    for (const button of spans) {
      button.setAttribute("aria-pressed", String(following && Number(button.dataset.span) * 1000 === span));
    }
  }

  function look(ms) {
    chart.cursor = ms;
    chart.draw();
    looked();
  }

  function zoom(factor, about) {
    const { start: from } = chart.view;
    sight(about - (about - from) * factor, span * factor);
  }

  function keys(event) {
    const { start: from, end } = chart.view;
    const step = ((end - from) / chart.width) * (event.shiftKey ? 20 : 4);
    const middle = chart.cursor ?? (from + end) / 2;
    const moves = {
      ArrowLeft: () => sight(from - span / 10, span),
      ArrowRight: () => sight(from + span / 10, span),
      "+": () => zoom(0.5, middle),
      "=": () => zoom(0.5, middle),
      "-": () => zoom(2, middle),
      0: () => follow(home),
      "[": () => look(Math.max(from, (chart.cursor ?? end) - step)),
      "]": () => look(Math.min(end, (chart.cursor ?? from) + step)),
    };
    if (!moves[event.key] || event.ctrlKey || event.altKey || event.metaKey) return;
    event.preventDefault();
    moves[event.key]();
  }

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
  canvas.addEventListener("dblclick", () => follow(home));
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
  new ResizeObserver(() => chart.draw()).observe(canvas);
  document.addEventListener("light", () => chart.draw());
  if (start === null) follow();
  else sight(start, span);
  return {
    get span() {
      return span;
    },
    get following() {
      return following;
    },
    // The newest data's time; true where the view should go with it.
    tick(time) {
      now = time;
      return following && !held && !document.hidden;
    },
    follow,
  };
}
