// Shared by all pages: sending an act once, and telling what came of it.

/** A key for one act: the same act sent twice is recorded once. */
export function newKey() {
  if (crypto.randomUUID) return crypto.randomUUID();
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return Array.from(bytes, (b) => b.toString(16).padStart(2, "0")).join("");
}

const wait = (ms) => new Promise((done) => setTimeout(done, ms));

/** Send JSON; where the answer got lost, send the same act again. */
export async function post(path, body, tries = 3) {
  for (let n = 1; ; n += 1) {
    try {
      const response = await fetch(path, {
        method: "POST",
        headers: { "Content-Type": "application/json" },
        body: JSON.stringify(body),
      });
      const data = await response.json().catch(() => ({ what: "the answer can't be read" }));
      return { ...data, status: response.status, ok: response.ok };
    } catch {
      if (n >= tries) {
        return { ok: false, status: 0, what: "lidoff does not answer: nothing was recorded that is not shown here" };
      }
      await wait(400 * n);
    }
  }
}

/** Words for a refused act. */
export function refusal(answer) {
  return answer.next ? `${answer.what}: ${answer.next}` : answer.what || "it was refused";
}

/** Tell a person who can't see the screen, and whoever looks at `place`. */
export function tell(place, text, bad = false) {
  if (place) {
    place.textContent = text;
    place.classList.toggle("bad", bad);
  }
  const live = document.getElementById("live");
  if (live && live !== place) live.textContent = text;
}

/** A fragment that our own server made (escaped there) as an element. */
export function element(html) {
  const holder = document.createElement("template");
  holder.innerHTML = html;
  return holder.content.firstElementChild;
}

/** Whether a key press is meant for a field and not for the page. */
export function typing(event) {
  const tag = event.target.tagName;
  return event.ctrlKey || event.metaKey || event.altKey || tag === "TEXTAREA" || tag === "SELECT"
    || (tag === "INPUT" && !["checkbox", "radio", "button"].includes(event.target.type));
}

/** Single keys can be switched off; the choice is kept in this browser. */
export function singleKeys() {
  return localStorage.getItem("single-keys") !== "off";
}
