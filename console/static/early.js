// A form sent before the page's scripts have run waits for them; the browser alone would send it to no effect.
let waits;
const keep = (event) => {
  event.preventDefault();
  event.stopImmediatePropagation();
  waits = event;
};
addEventListener("submit", keep, true);
addEventListener("DOMContentLoaded", () => {
  removeEventListener("submit", keep, true);
  waits?.target.requestSubmit(waits.submitter);
});
