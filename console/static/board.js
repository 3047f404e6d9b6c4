// The board shows the uncertainty of its volumes on demand, and remembers that it was asked to.

const button = document.getElementById("u95");

function show(on) {
  button?.setAttribute("aria-pressed", String(on));
  document.querySelector(".board")?.toggleAttribute("data-u95", on);
}

button?.addEventListener("click", () => {
  const on = button.getAttribute("aria-pressed") !== "true";
  localStorage.setItem("u95", on ? "1" : "");
  show(on);
});
show(localStorage.getItem("u95") === "1");
