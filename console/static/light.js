// The light mode and the units. Kept in cookies, so that the server's first answer already wears them.

const YEAR_S = 31536000;

const keep = (name, value) => {
  document.cookie = `${name}=${value}; path=/; max-age=${YEAR_S}; samesite=strict`;
};

export function unitSwitch(group) {
  group?.addEventListener("click", (event) => {
    const units = event.target.closest("button")?.value;
    if (!units) return;
    keep("units", units);
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
