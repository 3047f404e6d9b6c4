// Requests of a page to the console: parts of itself to show anew, and the few acts of a person.

const LIMIT_MS = 8000;

// Replace what is in `element` by the part at `url`; true when it changed. A failure leaves the old part: the page's
// watchdog says when it is old.
export async function refresh(element, url) {
  let answer;
  try {
    answer = await fetch(url, { headers: { Accept: "text/html" }, signal: AbortSignal.timeout(LIMIT_MS) });
  } catch {
    return false;
  }
  if (!answer.ok) return false;
  const text = await answer.text();
  if (element.shown === text) return false;
  const holder = document.createElement("template");
  holder.innerHTML = text;
  element.replaceChildren(holder.content);
  element.shown = text;
  return true;
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
