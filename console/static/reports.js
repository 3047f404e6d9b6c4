// The page of reports: a file asks for a name first; a shift is handed over and taken over.

import { act, data, fill, rememberName } from "./ask.js";

const words = data("words");
const ask = document.getElementById("ask");
const by = document.getElementById("by");

function say(output, text, bad) {
  output.textContent = text;
  output.toggleAttribute("data-bad", Boolean(bad));
}

if (by) rememberName(by);
if (ask) {
  ask.addEventListener("submit", (event) => {
    if (!by || !event.submitter?.hasAttribute("data-file") || by.value.trim()) return;
    event.preventDefault();
    say(document.getElementById("said"), words.name_first, true);
    by.focus();
  });
  document.getElementById("print").addEventListener("click", () => print());
}

function shift(form, url) {
  const output = form.querySelector("output");
  const { by: name, notes } = form.elements;
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (!name.value.trim()) {
      say(output, words.name_first, true);
      name.focus();
      return;
    }
    const body = { by: name.value.trim(), notes: notes.value.trim() };
    const answer = await act(url, body, words.offline);
    if (answer.ok) location.reload();
    else say(output, fill(words.failed, { why: answer.body.detail }), true);
  });
}

const give = document.getElementById("give");
const take = document.getElementById("take");
if (give) {
  shift(give, "/api/handovers");
  if (!give.elements.by.readOnly) rememberName(give.elements.by);
}
if (take) shift(take, `/api/handovers/${take.dataset.number}/take`);
