import { newKey, post, refusal, tell } from "./common.js";

const form = document.getElementById("sign");
if (form) {
  const key = newKey();
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const told = form.querySelector(".told");
    tell(told, "Hashing every photo, then signing…");
    const fields = Object.fromEntries(new FormData(form));
    const answer = await post("/do/sign", { ...fields, hold_point: form.dataset.point, key }, 1);
    form.passphrase.value = "";
    if (answer.ok) window.location.reload();
    else tell(told, refusal(answer), true);
  });
}

const pack = document.getElementById("pack");
if (pack) {
  pack.addEventListener("click", async () => {
    const told = document.getElementById("pack-told");
    if (pack.getAttribute("aria-disabled") === "true") return;
    pack.setAttribute("aria-disabled", "true");
    tell(told, "Making the pack…");
    const answer = await post("/do/pack", {}, 1);
    pack.removeAttribute("aria-disabled");
    if (!answer.ok) {
      tell(told, refusal(answer), true);
      return;
    }
    const link = document.getElementById("packed");
    link.hidden = false;
    link.focus();
    tell(told, `The pack is ready: ${answer.name}, ${answer.size}.`);
  });
}
