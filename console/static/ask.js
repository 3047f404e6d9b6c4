// Requests of a page to the console: parts of itself to show anew, and the few acts of a person.

const LIMIT_MS = 8000;

// Replace what is in `element` by the part at `url`; true when it changed, null when it could not be had: then the old
// part stays, and who asked tries again. An answer that a newer one has overtaken is not shown. keep: called just before
// the old part goes; what it returns is called just after.
export async function refresh(element, url, keep) {
  const turn = (element.asked = (element.asked ?? 0) + 1);
  let text;
  try {
    const answer = await fetch(url, { headers: { Accept: "text/html" }, signal: AbortSignal.timeout(LIMIT_MS) });
    if (!answer.ok) return null;
    text = await answer.text();
  } catch {
    return null;
  }
  if (turn < (element.turn ?? 0)) return false;
  element.turn = turn;
  if (element.shown === text) return false;
  const holder = document.createElement("template");
  holder.innerHTML = text;
  const restore = keep?.();
  element.replaceChildren(holder.content);
  element.shown = text;
  restore?.();
  return true;
}

// Whenever what `key` tells of the state is not what is shown, the part is asked for anew. shown: what the page was made
// of. renew: gives null where the part could not be had; it is asked for again with the next state.
export function follow(shown, key, renew) {
  let busy = false;
  document.addEventListener("state", async (event) => {
    const now = key(event.detail);
    if (busy || now === shown) return;
    busy = true;
    if ((await renew()) !== null) shown = now;
    busy = false;
  });
}

// Send a person's act; {ok, status, body}. `body` is the answer or the problem; a console that does not answer is
// a problem as well.
export async function act(url, body, offline) {
  try {
    const answer = await fetch(url, {
      method: "POST",
      headers: { "Content-Type": "application/json", Accept: "application/json" },
      body: JSON.stringify(body),
      signal: AbortSignal.timeout(LIMIT_MS),
    });
    return { ok: answer.ok, status: answer.status, body: await answer.json() };
  } catch {
    return { ok: false, status: 0, body: { detail: offline } };
  }
}

export function fill(sentence, values) {
  return sentence.replace(/\{(\w+)\}/g, (_, name) => values[name] ?? "");
}

export function data(id) {
  return JSON.parse(document.getElementById(id).textContent);
}

// The name of who acts, offered again on the next page of this browser tab.
export function rememberName(input) {
  const person = document.body.dataset.person;
  if (person) {
    // Signed in: the name is theirs, and nobody else's is taken.
    input.value = person;
    input.readOnly = true;
    const label = input.closest("label");
    if (label) label.style.display = "none";
    return;
  }
  if (!input.value) input.value = sessionStorage.getItem("by") ?? ""; // who was quicker than the page is not wiped out
  input.addEventListener("change", () => sessionStorage.setItem("by", input.value.trim()));
}
