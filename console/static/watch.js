// The page's own watchdog: 5 s without a message, by the browser's monotonic clock, and the page says that it is old.
// It trusts messages only, never the state of the socket: a frozen server keeps its sockets open.

const LIMIT_MS = 5000;

export function watchdog(banner, sentence) {
  const root = document.documentElement;
  const title = document.title;
  let heard = performance.now();
  let clock = document.getElementById("clock")?.textContent ?? "";
  let silent = false;

  function say(now) {
    if (now === silent) return;
    silent = now;
    root.toggleAttribute("data-silent", silent);
    banner.toggleAttribute("data-off", !silent);
    banner.querySelector("[data-since]").textContent = sentence.replace("{time}", clock);
    document.title = silent ? `${banner.dataset.title} · ${title}` : title;
  }

  function check() {
    say(performance.now() - heard > LIMIT_MS);
  }

  setInterval(check, 250);
  document.addEventListener("visibilitychange", check);
  return {
    beat(time) {
      heard = performance.now();
      clock = time;
      say(false);
    },
  };
}
