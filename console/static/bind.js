// Puts a message of the page feed into the page: every moving element names, as a path, what it shows.
// The server rendered the first values by the same paths (templates/_bind.html); texts come ready, none is made here.
// In a part with `data-in` a path may begin with "./": it lies below what `data-in` names.

const found = new WeakMap();

function reader(path) {
  const keys = path.split("/");
  return (message) => {
    let value = message;
    for (const key of keys) value = value?.[key];
    return value;
  };
}

function put(element, name, value) {
  if (element.getAttribute(name) !== value) element.setAttribute(name, value);
}

// Acts on what it is given only when that is another value than last time: most of a state is what it was.
function changing(act) {
  let last;
  return (value) => {
    if (value === last) return;
    last = value;
    act(value);
  };
}

function writing(element) {
  return changing((text) => {
    if (element.textContent !== text) element.textContent = text;
  });
}

function setting(element, name) {
  return changing((value) => put(element, name, value));
}

// Each looks at its element once, and gives what is done for every message.
const kinds = {
  text(element) {
    const read = reader(element.dataset.text);
    const write = writing(element);
    return (message) => write(read(message) ?? "");
  },
  fig(element) {
    const read = reader(element.dataset.fig);
    const write = writing(element);
    const quality = setting(element, "data-q");
    const note = setting(element, "title");
    return (message) => {
      const figure = read(message);
      if (!figure) return;
      write(figure.t);
      quality(figure.q);
      note(figure.n);
    };
  },
  attr(element) {
    const pairs = element.dataset.attr.split(";").map((pair) => {
      const [name, path] = pair.split("=");
      return [reader(path), setting(element, name)];
    });
    return (message) => {
      for (const [read, set] of pairs) set(String(read(message) ?? ""));
    };
  },
  on(element) {
    const path = element.dataset.on;
    const not = path[0] === "!";
    const read = reader(not ? path.slice(1) : path);
    const show = changing((shown) => element.toggleAttribute("data-off", !shown));
    return (message) => show(Boolean(read(message)) !== not);
  },
  tab(element) {
    const read = reader(element.dataset.tab);
    const priority = setting(element, "data-p");
    const state = setting(element, "data-s");
    return (message) => {
      const tab = read(message);
      priority(tab?.p ?? "");
      state(tab?.s ?? "");
    };
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
  for (const [kind, look] of Object.entries(kinds)) {
    for (const element of root.querySelectorAll(`[data-${kind}]`)) jobs.push(look(element));
  }
  found.set(root, jobs);
  return jobs;
}

// Call when elements were put into or taken out of `root`.
export function renewed(root = document) {
  found.delete(root);
}

export function bind(message, root = document) {
  for (const show of found.get(root) ?? lookUp(root)) show(message);
}
