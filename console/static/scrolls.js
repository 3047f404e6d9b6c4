// A table wider than the screen scrolls by itself: while it does, a key reaches it and it has a name.

const BOXES = "div.wide, div.scroll, div.scrolls";

function look(box) {
  const scrolls = box.scrollWidth > box.clientWidth + 1;
  if (scrolls === box.hasAttribute("tabindex")) return;
  if (scrolls) {
    const part = box.closest("section, details, main").querySelector("caption, h2, h3, summary, h1");
    box.tabIndex = 0;
    box.role = "group";
    box.ariaLabel = (part ?? document.querySelector("h1")).textContent.trim();
  } else if (document.activeElement !== box) {
    for (const name of ["tabindex", "role", "aria-label"]) box.removeAttribute(name);
  }
}

export function scrolls(root) {
  const seen = new WeakSet();
  const sizes = new ResizeObserver((all) => all.forEach(({ target }) => look(target.closest(BOXES))));
  function find() {
    for (const box of root.querySelectorAll(BOXES)) {
      if (seen.has(box)) continue;
      seen.add(box);
      for (const one of [box, ...box.children]) sizes.observe(one);
    }
  }
  new MutationObserver(find).observe(root, { childList: true, subtree: true });
  find();
}
