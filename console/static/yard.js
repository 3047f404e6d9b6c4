// The yard display: sizes in millimetres of the glass, pages that turn by themselves, figures that die with the server.
// Made to run for months: nothing grows with time; another build or another list of tanks loads the page anew.

import { bind } from "./bind.js";
import { listen } from "./feed.js";
import { watchdog } from "./watch.js";
import { pagesOf } from "./yardpaging.js";

const INCH_MM = 25.4;
const SMALLEST = 0.2;
const root = document.documentElement;
const set = document.body.dataset;
const cards = [...document.querySelectorAll(".card")];
const main = document.getElementById("cards");
const part = document.getElementById("part");
const small = document.getElementById("small");
const header = document.querySelector("header");
const label = header.querySelector("h1");
const invented = header.querySelector(".simulated");
const banner = document.getElementById("silent");
const watch = watchdog(banner, banner.dataset.sentence);
const known = cards.flatMap((card) => card.dataset.tank ?? []);

let pages = [];
let page = 0;
let told = "";

// How much of the font size a figure and a capital are high: measured, since nobody knows which face a player has.
function heightOfFigures() {
  const ink = document.createElement("canvas").getContext("2d");
  ink.font = `1000px ${getComputedStyle(document.body).fontFamily}`;
  return Math.min(...["1", "H"].map((sign) => ink.measureText(sign).actualBoundingBoxAscent)) / 1000 || 0.7;
}

const perHeight = 1 / heightOfFigures();

const tooWide = (element) => element.scrollWidth > element.clientWidth + 1;

function size(fit, columns) {
  const pixelsPerMm = (fit * Math.hypot(screen.width, screen.height)) / (set.screenInch * INCH_MM);
  root.style.setProperty("--digit", `${set.digitMm * pixelsPerMm * perHeight}px`);
  root.style.setProperty("--text", `${set.textMm * pixelsPerMm * perHeight}px`);
  root.style.setProperty("--columns", String(columns));
  // Where the head has no room for all: the number of the page goes first, then what is shown, where data are invented.
  label.hidden = part.hidden = false;
  part.hidden = tooWide(header);
  label.hidden = Boolean(invented) && tooWide(header);
}

function overflows(shown) {
  return shown.some((card) => [...card.children].some(tooWide)) || [...document.querySelectorAll(".strip")].some(tooWide);
}

function layOut() {
  for (const card of cards) card.hidden = false;
  part.textContent = "0/0";
  small.toggleAttribute("data-off", true);
  let columns = 2;
  let fit = 1;
  let room = 0;
  for (;;) {
    size(fit, columns);
    const high = Math.max(1, ...cards.map((card) => card.offsetHeight));
    room = Math.floor((main.clientHeight + 1) / high);
    if (room >= 1 && !overflows(cards)) break;
    if (columns === 2 && room >= 1) columns = 1;
    else if (fit > SMALLEST) [fit, columns] = [fit - 0.02, 2];
    else break;
    if (fit < 1 && small.hasAttribute("data-off")) small.toggleAttribute("data-off", false);
    small.textContent = set.small.replace("{distance}", String(Math.max(1, Math.floor(set.distanceM * fit))));
  }
  const listed = cards
    .filter((card) => card.dataset.tank || card.dataset.alarm)
    .map((card) => ({ card, pin: card.dataset.pin === "1", wide: Boolean(card.dataset.alarm) }));
  pages = pagesOf(listed, columns, Math.max(1, room));
  show();
}

function show() {
  page %= pages.length;
  const shown = new Set(pages[page].map((entry) => entry.card));
  pages[page].forEach((entry, place) => (entry.card.style.order = String(place)));
  for (const card of cards) card.hidden = !shown.has(card);
  part.textContent = pages.length > 1 ? `${page + 1}/${pages.length}` : "";
}

function byNight(clock) {
  if (!root.dataset.night) return;
  const [from, to] = root.dataset.night.split("-").map(Number);
  const now = 60 * Number(clock.slice(0, 2)) + Number(clock.slice(3, 5));
  const dark = from < to ? now >= from && now < to : now >= from || now < to;
  root.dataset.light = dark ? "night" : "sun";
}

function hear(message) {
  const tanks = Object.keys(message.tanks);
  if (set.every ? tanks.join() !== known.join() : !known.every((tank) => tank in message.tanks)) {
    location.reload();
    return;
  }
  bind(message);
  watch.beat(message.clock);
  byNight(message.clock);
  const state = cards.map((card) => `${card.dataset.pin}|${card.dataset.alarm}|${card.dataset.data}`).join("\n");
  if (state !== told) page = 0;
  if (state !== told || overflows(cards.filter((card) => !card.hidden))) layOut();
  told = state;
}

setInterval(() => {
  page += 1;
  layOut();
}, 1000 * set.turnS);
addEventListener("resize", layOut);
new MutationObserver(layOut).observe(root, { attributeFilter: ["data-silent", "data-light"] });
byNight(document.getElementById("clock").textContent);
layOut();
listen(
  root.dataset.feed,
  (build) => {
    if (build !== root.dataset.build) location.reload();
  },
  hear,
);
