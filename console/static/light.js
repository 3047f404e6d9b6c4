// The light mode, the units and the number format. Kept in cookies, so that the server's first answer already wears them.

const YEAR_S = 31536000;

const keep = (name, value) => {
  document.cookie = `${name}=${value}; path=/; max-age=${YEAR_S}; samesite=strict`;
};

// Each group of buttons is named after its cookie. All figures of the page come from the server: it is asked anew.
export function unitSwitch(menu) {
  menu?.addEventListener("click", (event) => {
    const button = event.target.closest("button");
    if (!button) return;
    keep(button.parentElement.dataset.choice, button.value);
    location.reload();
  });
}

export function lightSwitch(group) {
  const root = document.documentElement;
  const buttons = [...group.querySelectorAll("button")];
  group.addEventListener("click", (event) => {
    const mode = event.target.closest("button")?.value;
    if (!mode) return;
    root.dataset.light = mode;
    keep("light", mode);
    for (const button of buttons) button.setAttribute("aria-pressed", String(button.value === mode));
    document.dispatchEvent(new Event("light"));
  });
}
