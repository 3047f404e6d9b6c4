// Leak tests: signing the one that is shown (the house tests that time again), and deciding on a loss that is suspected.

import { act, data, fill, rememberName } from "./ask.js";

const words = data("words");

function ask(form, address, body, needed) {
  const by = form.elements.by;
  const said = form.querySelector("output");
  const say = (text) => {
    said.textContent = text;
    said.toggleAttribute("data-bad", true);
  };
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const name = by.value.trim();
    if (!name) {
      say(words.name_first);
      by.focus();
      return;
    }
    if (needed && !needed.value.trim()) {
      say(words.reason_first);
      needed.focus();
      return;
    }
    const answer = await act(address, { by: name, ...body() }, words.offline);
    if (answer.ok) location.reload();
    else say(fill(words.failed, { why: answer.body.detail }));
  });
  rememberName(by);
}

const sign = document.getElementById("sign");
if (sign) {
  const { tank, start, end } = sign.dataset;
  ask(sign, `/api/leak/${tank}/sign`, () => ({ start, end, comment: sign.elements.comment.value.trim() }));
}

const decide = document.getElementById("decide");
if (decide) {
  const reason = decide.elements.reason;
  ask(decide, `/api/leak/${decide.dataset.tank}/decide`, () => ({ reason: reason.value.trim() }), reason);
}
