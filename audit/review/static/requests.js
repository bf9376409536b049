import { tell } from "./common.js";

for (const button of document.querySelectorAll("[data-copy]")) {
  button.addEventListener("click", async () => {
    const words = document.getElementById(button.dataset.copy);
    try {
      await navigator.clipboard.writeText(words.textContent);
      button.textContent = "Copied";
      tell(null, "copied");
    } catch {
      const range = document.createRange();
      range.selectNodeContents(words);
      const marked = window.getSelection();
      marked.removeAllRanges();
      marked.addRange(range);
      button.textContent = "Marked: copy it with your keyboard";
    }
  });
}
