// Signing a leak test: the time that is shown is tested again by the house and kept under a person's name.

import { act, data, fill, rememberName } from "./ask.js";

const form = document.getElementById("sign");
const words = data("words");

if (form) {
  const by = document.getElementById("by");
  const said = document.getElementById("said");
  const say = (text, bad) => {
    said.textContent = text;
    said.toggleAttribute("data-bad", Boolean(bad));
  };
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const name = by.value.trim();
    if (!name) {
      say(words.name_first, true);
      by.focus();
      return;
    }
    const { tank, start, end } = form.dataset;
    const body = { by: name, start, end, comment: form.elements.comment.value.trim() };
    const answer = await act(`/api/leak/${tank}/sign`, body, words.offline);
    if (answer.ok) location.reload();
    else say(fill(words.failed, { why: answer.body.detail }), true);
  });
  rememberName(by);
}
