// The sound of alarms that stand (or are latched) and wait: one to three tones, as many as the mark has strokes. Off until a person turns it on;
// silencing quiets what waits now and acknowledges nothing: what comes anew is heard again.

const EVERY_MS = 2400;
const TONE_S = 0.16;
const GAP_S = 0.1;
const PITCH_HZ = 660;

function read(name, other) {
  try {
    return JSON.parse(localStorage.getItem(name)) ?? other;
  } catch {
    return other;
  }
}

export function sound(button, words) {
  let on = read("sound", false);
  let silenced = new Set(read("silenced", []));
  let waiting = [];
  let context = null;

  function calling() {
    return waiting.filter((key) => !silenced.has(key));
  }

  function show() {
    const calls = on && calling().length > 0;
    const blocked = on && context?.state !== "running";
    const state = !on ? "off" : blocked ? "blocked" : calls ? "calls" : waiting.length ? "silenced" : "on";
    button.dataset.state = state;
    button.setAttribute("aria-pressed", String(on));
    button.textContent = words[state];
  }

  function start() {
    context ??= new AudioContext();
    if (context.state !== "running") context.resume().then(show, show);
  }

  function tone(at) {
    const voice = context.createOscillator();
    const loud = context.createGain();
    voice.frequency.value = PITCH_HZ;
    loud.gain.setValueAtTime(0, at);
    loud.gain.linearRampToValueAtTime(0.4, at + 0.01);
    loud.gain.linearRampToValueAtTime(0, at + TONE_S);
    voice.connect(loud).connect(context.destination);
    voice.start(at);
    voice.stop(at + TONE_S);
  }

  function call() {
    const [first] = calling();
    if (!on || !first || context?.state !== "running") return;
    const strokes = 4 - Number(first[0]);
    for (let k = 0; k < strokes; k += 1) tone(context.currentTime + k * (TONE_S + GAP_S));
    button.dataset.heard = String(Number(button.dataset.heard ?? 0) + 1);
  }

  function press() {
    if (!on || context?.state !== "running") {
      on = true;
      start();
    } else if (calling().length) {
      silenced = new Set(waiting);
      localStorage.setItem("silenced", JSON.stringify([...silenced]));
    } else {
      on = false;
    }
    localStorage.setItem("sound", JSON.stringify(on));
    show();
  }

  button.addEventListener("click", press);
  addEventListener("storage", () => {
    on = read("sound", false);
    silenced = new Set(read("silenced", []));
    show();
  });
  setInterval(call, EVERY_MS);
  if (on) start();
  show();
  return {
    hear(keys) {
      waiting = keys;
      show();
    },
  };
}
