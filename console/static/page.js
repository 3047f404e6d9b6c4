// What every page does: listens, shows what it hears, watches itself. A page's own script hears "state" events.

import { bind } from "./bind.js";
import { listen } from "./feed.js";
import { lightSwitch, unitSwitch } from "./light.js";
import { scrolls } from "./scrolls.js";
import { sound } from "./sound.js";
import { watchdog } from "./watch.js";

const root = document.documentElement;
const banner = document.getElementById("silent");
const watch = watchdog(banner, banner.dataset.sentence);

const button = document.getElementById("sound");
const alarmSound = sound(button, JSON.parse(button.dataset.words));

scrolls(document.querySelector("main"));
unitSwitch(document.getElementById("units"));
lightSwitch(document.getElementById("light"));
listen(
  root.dataset.feed,
  (build) => {
    if (build !== root.dataset.build) location.reload();
  },
  (message) => {
    bind(message);
    watch.beat(message.clock);
    alarmSound.hear(message.sound);
    document.dispatchEvent(new CustomEvent("state", { detail: message }));
  },
);
