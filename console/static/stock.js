// The stock page: a day or a month is signed by name; the figures that were shown are the ones that are signed.

import { act, data, fill, refresh, rememberName } from "./ask.js";

const words = data("words");
const book = document.getElementById("book");

function prepare() {
  for (const input of book.querySelectorAll('form.close input[name="by"]')) rememberName(input);
}

book.addEventListener("submit", async (event) => {
  const form = event.target.closest("form.close");
  if (!form) return;
  event.preventDefault();
  const said = form.querySelector("output");
  const by = form.elements.by.value.trim();
  if (!by) {
    said.textContent = words.name_first;
    form.elements.by.focus();
    return;
  }
  const { period, name, product, seal } = form.dataset;
  const body = { period, name, product, seal, by, comment: form.elements.comment.value.trim() };
  const answer = await act("/api/stock/close", body, words.offline);
  if (!answer.ok) {
    said.textContent = fill(words.failed, { why: answer.body.detail });
    return;
  }
  said.textContent = fill(answer.body.status === "done" ? words.signed : words.was_signed, answer.body);
  await refresh(book, `/stock/book${location.search || `?${period}=${name}`}`);
  prepare();
});

prepare();
