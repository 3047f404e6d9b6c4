// The light mode: day, night or sun. Kept in a cookie, so that the server's first answer already wears it.

const YEAR_S = 31536000;

export function lightSwitch(group) {
  const root = document.documentElement;
  const buttons = [...group.querySelectorAll("button")];
  group.addEventListener("click", (event) => {
    const mode = event.target.closest("button")?.value;
    if (!mode) return;
    root.dataset.light = mode;
    document.cookie = `light=${mode}; path=/; max-age=${YEAR_S}; samesite=strict`;
    for (const button of buttons) button.setAttribute("aria-pressed", String(button.value === mode));
    document.dispatchEvent(new Event("light"));
  });
}
