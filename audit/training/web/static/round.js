// The truth on the photo: numbers and rings keep their size, list and photo point at each other.
import { Viewer } from "/shared/viewer.js";

const root = document.querySelector(".viewer");
if (root) {
  const viewer = new Viewer(root);
  const pins = [...root.querySelectorAll(".pin")];

  const draw = () => {
    for (const pin of pins) pin.setAttribute("transform", `translate(${pin.dataset.x} ${pin.dataset.y}) scale(${1 / viewer.scale})`);
  };
  const light = (key) => {
    for (const each of document.querySelectorAll("[data-key]")) each.classList.toggle("lit", each.dataset.key === key);
  };
  root.addEventListener("moved", draw);
  draw();

  for (const button of document.querySelectorAll("[data-view]")) {
    button.addEventListener("click", () => {
      viewer.show(button.dataset.view.split(",").map(Number));
      light(button.dataset.of);
      root.scrollIntoView({ block: "nearest" });
    });
  }
  root.addEventListener("picked", ({ detail }) => {
    const [x, y] = detail.at;
    const near = pins
      .filter((pin) => pin.querySelector("circle"))
      .map((pin) => ({ key: pin.parentNode.dataset.key, away: Math.hypot(pin.dataset.x - x, pin.dataset.y - y) * viewer.scale }))
      .filter((p) => p.away < 22)
      .sort((a, b) => a.away - b.away)[0];
    const inside = [...root.querySelectorAll(".places rect.ink")].find((r) => {
      const b = r.getBBox();
      return x >= b.x && x <= b.x + b.width && y >= b.y && y <= b.y + b.height;
    });
    const key = near?.key ?? inside?.parentNode.dataset.key;
    light(key ?? "");
    if (key) document.querySelector(`.told-row[data-key="${key}"]`)?.scrollIntoView({ block: "nearest" });
  });
}
