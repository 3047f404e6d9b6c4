// Puts a message of the page feed into the page: every moving element names, as a path, what it shows.
// The server rendered the first values by the same paths (templates/_bind.html); texts come ready, none is made here.
// In a part with `data-in` a path may begin with "./": it lies below what `data-in` names.

const found = new WeakMap();

function walk(message, path) {
  let value = message;
  for (const key of path.split("/")) value = value?.[key];
  return value;
}

function put(element, name, value) {
  if (element.getAttribute(name) !== value) element.setAttribute(name, value);
}

const kinds = {
  text(element, message) {
    const text = walk(message, element.dataset.text) ?? "";
    if (element.textContent !== text) element.textContent = text;
  },
  fig(element, message) {
    const figure = walk(message, element.dataset.fig);
    if (!figure) return;
    if (element.textContent !== figure.t) element.textContent = figure.t;
    put(element, "data-q", figure.q);
    put(element, "title", figure.n);
  },
  attr(element, message) {
    for (const pair of element.dataset.attr.split(";")) {
      const [name, path] = pair.split("=");
      put(element, name, String(walk(message, path) ?? ""));
    }
  },
  on(element, message) {
    const path = element.dataset.on;
    const shown = path[0] === "!" ? !walk(message, path.slice(1)) : Boolean(walk(message, path));
    element.toggleAttribute("data-off", !shown);
  },
  tab(element, message) {
    const tab = walk(message, element.dataset.tab);
    put(element, "data-p", tab?.p ?? "");
    put(element, "data-s", tab?.s ?? "");
  },
};

function spellOut(root) {
  for (const part of root.querySelectorAll("[data-in]")) {
    for (const element of [part, ...part.querySelectorAll("*")]) {
      for (const kind of Object.keys(kinds)) {
        const path = element.dataset[kind];
        if (path) element.dataset[kind] = path.replaceAll("./", `${part.dataset.in}/`);
      }
    }
    part.removeAttribute("data-in");
  }
}

function lookUp(root) {
  const jobs = [];
  spellOut(root);
  for (const [kind, act] of Object.entries(kinds)) {
    for (const element of root.querySelectorAll(`[data-${kind}]`)) jobs.push([element, act]);
  }
  found.set(root, jobs);
  return jobs;
}

// Call when elements were put into or taken out of `root`.
export function renewed(root = document) {
  found.delete(root);
}

export function bind(message, root = document) {
  for (const [element, act] of found.get(root) ?? lookUp(root)) act(element, message);
}
