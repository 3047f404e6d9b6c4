// The release page: a release with its sample result, a tank set aside; what is shown follows by itself.

import { amount, both, quantity, refusal } from "./amount.js";
import { act, data, fill, follow, refresh, rememberName } from "./ask.js";

const words = data("words");
const saidWords = data("status-words");
const place = document.getElementById("status-now");
const NUMBERS = ["density_kg_m3", "conductivity_pS_m"];

// What was opened while the new part was on its way stays open.
function keepOpen() {
  const open = place.querySelector("details")?.open;
  return () => {
    const details = place.querySelector("details");
    if (details) details.open = Boolean(open);
  };
}

function renew() {
  return refresh(place, "/status/now", keepOpen);
}

function statuses(tanks) {
  return Object.values(tanks)
    .map(({ status }) => `${status.word}; ${status.note}|`)
    .join("");
}

function form(id, handle) {
  const element = document.getElementById(id);
  const output = element.querySelector("output");
  const say = (text, bad) => {
    output.textContent = text;
    output.toggleAttribute("data-bad", Boolean(bad));
  };
  element.addEventListener("submit", async (event) => {
    event.preventDefault();
    const by = element.elements.by.value.trim();
    if (!by) {
      say(words.name_first, true);
      element.elements.by.focus();
      return;
    }
    await handle(element, by, say);
  });
  rememberName(element.elements.by);
}

async function send(path, body, say, telling) {
  const answer = await act(path, body, words.offline);
  say(answer.ok ? telling(answer.body) : fill(words.failed, { why: answer.body.detail }), !answer.ok);
  if (answer.ok) await renew();
  return answer.ok;
}

function nameOf(element) {
  return element.elements.tank.selectedOptions[0].textContent;
}

if (place) {
  form("release", async (element, by, say) => {
    const body = { by };
    for (const name of ["appearance", "water_test", "certificate", "comment"]) body[name] = element.elements[name].value;
    for (const name of NUMBERS) {
      body[name] = name === "density_kg_m3" ? quantity(element.elements[name], "density_kgpm3") : amount(element.elements[name]);
      if (Number.isNaN(body[name])) {
        say(refusal(), true);
        element.elements[name].focus();
        return;
      }
    }
    const tank = nameOf(element);
    const done = await send(`/api/tanks/${element.elements.tank.value}/release`, body, say, (told) => {
      const what = told.now.release.not_done.join(", ");
      const density = body.density_kg_m3 === null ? "" : both(body.density_kg_m3, "density_kgpm3");
      const said = fill(what ? saidWords.released_without : saidWords.released, { tank, by: told.now.release.by, what });
      return [said, density].filter(Boolean).join(" · ");
    });
    if (done) {
      for (const name of [...NUMBERS, "appearance", "water_test", "certificate", "comment"]) element.elements[name].value = "";
    }
  });

  form("say", async (element, by, say) => {
    const reason = element.elements.reason.value.trim();
    if (!reason) {
      say(saidWords.reason_first, true);
      element.elements.reason.focus();
      return;
    }
    const tank = nameOf(element);
    const path = `/api/tanks/${element.elements.tank.value}/${element.elements.act.value}`;
    const answered = (told) =>
      told.status === "already" ? fill(saidWords.already, { tank }) : fill(saidWords.said, { tank, status: told.now.status });
    if (await send(path, { by, reason }, say, answered)) element.elements.reason.value = "";
  });

  follow(place.dataset.shown, (state) => statuses(state.tanks), renew);
}
