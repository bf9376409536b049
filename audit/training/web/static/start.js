// Whether the time is told; the choice is kept in this browser.
const box = document.getElementById("timed");
box.checked = localStorage.getItem("practice-timed") === "on";
box.addEventListener("change", () => localStorage.setItem("practice-timed", box.checked ? "on" : "off"));
