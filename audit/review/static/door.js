import { newKey, post, refusal, tell } from "./common.js";

for (const form of document.querySelectorAll("form[data-to]")) {
  const key = newKey();
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const told = form.querySelector(".told");
    const body = form.id === "enter" ? { code: form.code.value } : { name: form.elements.name.value, key };
    const answer = await post(form.dataset.to, body);
    if (answer.ok) window.location.assign(answer.to || form.dataset.then || "/");
    else tell(told, refusal(answer), true);
  });
  form.querySelector("input").focus();
}
