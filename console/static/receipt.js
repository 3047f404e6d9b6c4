// One receipt: what moves is shown anew with each state; a person's acts stand below it and keep what was typed.

import { act, data, fill, refresh, rememberName } from "./ask.js";
import { both, quantity, refusal } from "./amount.js";

const words = data("words");
const place = document.getElementById("receipt");
const now = document.getElementById("now");
const more = document.getElementById("more");
const checks = document.getElementById("checks");
const by = document.getElementById("by");
const said = document.getElementById("said");
const path = `/api/receipts/${place.dataset.number}`;
let busy = false;

// Which forms there are, by how far the receipt is.
function offer() {
  const state = now.querySelector("[data-stage]").dataset;
  for (const form of place.querySelectorAll("form[data-stages]")) {
    const [stage, phase] = [state.stage, state.phase].map((name) => name.replaceAll(" ", "-"));
    const not = (form.dataset.notIn ?? "").split(" ");
    form.hidden = !form.dataset.stages.split(" ").includes(stage) || not.includes(phase);
  }
}

let states = 0;

async function show(acted) {
  if ((busy || document.hidden) && !acted) return;
  busy = true;
  await refresh(now, `/receipts/${place.dataset.number}/now`);
  if (acted || ++states % 10 === 0) {
    await refresh(checks, `/receipts/${place.dataset.number}/checks`);
    await refresh(more, `/receipts/${place.dataset.number}/more`);
  }
  offer();
  busy = false;
}

async function send(way, body, telling) {
  body.by = by.value.trim();
  if (!body.by) {
    said.textContent = words.name_first;
    by.focus();
    return false;
  }
  for (const value of Object.values(body)) {
    if (Number.isNaN(value)) {
      said.textContent = refusal();
      return false;
    }
  }
  const answer = await act(`${path}/${way}`, body, words.offline);
  said.textContent = answer.ok ? telling : fill(words.failed, { why: answer.body.detail });
  if (answer.ok && ["decide", "off", "document"].includes(way)) location.reload();
  else await show(true);
  return answer.ok;
}

function form(id, handle) {
  document.getElementById(id)?.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (!(await handle(event.target.elements, event.submitter?.value))) return;
    event.target.reset();
    if (id === "done") next(event.target.elements.what);
  });
}

// The first check that nobody has done is the next one to be written down.
function next(select) {
  const name = checks.querySelector("tr[data-undone] th")?.textContent;
  if (name) select.value = name;
}

if (by) {
  form("line", (f) => {
    const figure_m3 = quantity(f.figure, "volume_m3");
    if (figure_m3 === null) {
      if (now.querySelector("[data-metered]")) return send("line", { comment: f.comment.value }, words.line_metered);
      said.textContent = words.figure_first;
      return false;
    }
    const telling = Number.isNaN(figure_m3) ? "" : fill(words.line, { figure: both(figure_m3, "volume_m3") });
    return send("line", { figure_m3, comment: f.comment.value }, telling);
  });
  form("done", (f) => send("done", { what: f.what.value, found: f.found.value }, words.noted));
  form("sample", (f) =>
    send(
      "sample",
      {
        density_kgpm3: quantity(f.density, "density_kgpm3"),
        density_degC: quantity(f.at, "temperature_degC"),
        meter: f.meter.value,
        temperature_degC: quantity(f.temperature, "temperature_degC"),
      },
      [
        words.noted,
        ...[["density", "density_kgpm3"], ["at", "temperature_degC"], ["temperature", "temperature_degC"]]
          .filter(([name]) => f[name].value.trim())
          .map(([name, kind]) => both(quantity(f[name], kind), kind)),
      ].join(" · "),
    ),
  );
  form("start", () => send("start", {}, words.started));
  form("decide", (f, decision) =>
    send("decide", { decision, comment: f.comment.value, without_tank: f.without.checked }, words.decided),
  );
  let sure = false;
  form("document", async () => {
    const done = await send("document", { sure }, words.noted);
    sure = !done;
    return done;
  });
  form("reject", (f) => send("decide", { decision: "rejected", comment: f.comment.value }, words.decided));
  form("off", (f) => send("off", { reason: f.reason.value }, words.off));
  if (place.querySelector("#off")) document.addEventListener("state", () => show(false));
  rememberName(by);
  offer();
}
