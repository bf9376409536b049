import { newKey, post, refusal, tell } from "./common.js";
import { photos } from "./photos.js";

photos();

for (const form of document.querySelectorAll("form.judge")) {
  const key = newKey();
  let sent = false;
  form.addEventListener("submit", (event) => event.preventDefault());
  for (const button of form.querySelectorAll("[data-judge]")) {
    button.addEventListener("click", async () => {
      if (sent) return;
      sent = true;
      const answer = await post("/do/judge", { item: form.dataset.item, judged: button.dataset.judge, key });
      const told = form.querySelector(".told");
      if (!answer.ok) {
        sent = false;
        tell(told, refusal(answer), true);
        return;
      }
      button.setAttribute("aria-pressed", "true");
      for (const other of form.querySelectorAll("[data-judge]")) other.setAttribute("aria-disabled", "true");
      tell(told, answer.left ? `Recorded; ${answer.left} left.` : "Recorded; all are judged.");
      if (!answer.left) window.location.assign(answer.to);
      else form.nextElementSibling?.querySelector("button")?.focus();
    });
  }
}
