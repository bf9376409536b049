// Marks: lines that a person puts on the photo; every move is measured at once.
import { newKey, post, refusal, tell } from "./common.js";
import { draggable } from "./drag.js";
import { Viewer } from "./viewer.js";

const body = document.body;
const root = document.querySelector(".viewer");
const viewer = new Viewer(root);
const known = JSON.parse(document.getElementById("known").dataset.json);
const kind = document.getElementById("kind");
const of = document.getElementById("of");
const drawn = document.getElementById("drawn");
const list = document.getElementById("list");
const told = document.getElementById("told");
const keep = document.getElementById("keep");
const loupe = document.getElementById("loupe");
const SVG = "http://www.w3.org/2000/svg";
const NAMES = {
  grip: ["outer line, one end", "outer line, other end", "inner line, one end", "inner line, other end"],
};
const marks = new Map();
let asking = 0;
let wait = null;

function fitting() {
  const wanted = kind.selectedOptions[0].dataset.of;
  for (const option of of.options) {
    option.hidden = option.dataset.of !== wanted;
    option.disabled = option.hidden;
  }
  if (!of.selectedOptions[0] || of.selectedOptions[0].disabled) {
    of.value = [...of.options].find((o) => !o.disabled)?.value ?? "";
  }
}

/** Where a new mark begins: at what was found, else in the middle of what is on screen. */
function begin(what, whose) {
  const found = known[`${what}:${whose}`];
  if (found) return found.map((p) => [...p]);
  const at = of.selectedOptions[0]?.dataset.at?.split(",").map(Number);
  const shown = [(viewer.stage.clientWidth / 2 - viewer.x) / viewer.scale, (viewer.stage.clientHeight / 2 - viewer.y) / viewer.scale];
  const [x, y] = at ?? shown;
  const r = Math.max(12, (viewer.stage.clientHeight / viewer.scale) * 0.12);
  if (what === "grip") return [[x - r / 3, y - r], [x - r / 3, y + r], [x + r / 3, y - r], [x + r / 3, y + r]];
  if (what === "length") return [[x - r, y], [x + r, y]];
  return [[x, y - r], [x, y + r]];
}

function put() {
  const key = `${kind.value}:${of.value}`;
  if (!of.value) {
    tell(told, "There is nothing of this kind in the photo.", true);
    return;
  }
  if (!marks.has(key)) {
    const points = begin(kind.value, of.value).map(inside);
    const path = document.createElementNS(SVG, "path");
    const under = document.createElementNS(SVG, "path");
    path.setAttribute("class", "ink");
    under.setAttribute("class", "under");
    drawn.append(under, path);
    const mark = { key, kind: kind.value, of: of.value, points, path, under, handles: [] };
    const name = kind.selectedOptions[0].textContent;
    mark.handles = points.map((_, n) => handle(mark, n, `${name} of ${of.value}, ${(NAMES[mark.kind] ?? ["one end", "other end"])[n]}`));
    marks.set(key, mark);
    row(mark, name);
    near(mark);
  }
  draw();
  marks.get(key).handles[0].focus();
  measure();
}

/** Go close enough to place a line to a pixel. */
function near(mark) {
  const xs = mark.points.map((p) => p[0]);
  const ys = mark.points.map((p) => p[1]);
  const pad = Math.max(40, (Math.max(...xs) - Math.min(...xs) + Math.max(...ys) - Math.min(...ys)) * 0.8);
  if (viewer.whole) viewer.show([Math.min(...xs) - pad, Math.min(...ys) - pad, Math.max(...xs) + pad, Math.max(...ys) + pad]);
}

const inside = ([x, y]) => [Math.min(viewer.width, Math.max(0, x)), Math.min(viewer.height, Math.max(0, y))];

function row(mark, name) {
  const line = document.createElement("li");
  line.append(`${name} of ${mark.of} `);
  const away = document.createElement("button");
  away.type = "button";
  away.textContent = "Take away";
  away.setAttribute("aria-label", `Take away ${name} of ${mark.of}`);
  away.addEventListener("click", () => {
    for (const h of mark.handles) h.remove();
    mark.path.remove();
    mark.under.remove();
    line.remove();
    marks.delete(mark.key);
    draw();
    measure();
    document.getElementById("put").focus();
  });
  line.append(away);
  list.append(line);
}

function handle(mark, n, name) {
  const button = document.createElement("button");
  button.type = "button";
  button.className = "handle";
  button.dataset.name = name;
  viewer.stage.append(button);
  draggable(button, viewer, () => mark.points[n], move, measure);
  button.addEventListener("focus", () => enlarge(mark.points[n]));
  function move(point) {
    mark.points[n] = inside(point);
    draw();
    enlarge(mark.points[n]);
  }
  return button;
}

function draw() {
  for (const mark of marks.values()) {
    const at = mark.points.map(([x, y]) => `${x.toFixed(1)} ${y.toFixed(1)}`);
    const d = mark.kind === "grip" ? `M${at[0]}L${at[1]}M${at[2]}L${at[3]}` : `M${at.join("L")}`;
    mark.path.setAttribute("d", d);
    mark.under.setAttribute("d", d);
    mark.handles.forEach((button, n) => {
      const [x, y] = mark.points[n];
      button.style.left = `${viewer.x + x * viewer.scale}px`;
      button.style.top = `${viewer.y + y * viewer.scale}px`;
      button.setAttribute("aria-label", `${button.dataset.name}: x ${Math.round(x)}, y ${Math.round(y)}. Arrow keys move it`);
    });
  }
  length();
}

/** A drawn length is told at once; its uncertainty follows with the measurement. */
function length() {
  const out = document.getElementById("length");
  const scale = Number(body.dataset.pxPerMm);
  const found = [...marks.values()].find((m) => m.kind === "length");
  out.hidden = !found;
  if (!found) return;
  const px = Math.hypot(found.points[0][0] - found.points[1][0], found.points[0][1] - found.points[1][1]);
  out.textContent = scale ? `length: ${(px / scale).toFixed(1)} mm by the photo's scale` : `length: ${px.toFixed(0)} px; no scale known`;
}

/** Beside the photo, not over it: the end that is moved, and what lies round it. */
function enlarge([x, y]) {
  const pen = loupe.getContext("2d");
  const image = viewer.img;
  const ratio = image.naturalWidth / viewer.width;
  const reach = 20;
  loupe.hidden = false;
  pen.imageSmoothingEnabled = false;
  pen.clearRect(0, 0, loupe.width, loupe.height);
  pen.drawImage(image, (x - reach) * ratio, (y - reach) * ratio, 2 * reach * ratio, 2 * reach * ratio, 0, 0, loupe.width, loupe.height);
  const middle = loupe.width / 2;
  for (const [ink, width] of [["#fff", 5], ["#b3124f", 2]]) {
    pen.strokeStyle = ink;
    pen.lineWidth = width;
    pen.beginPath();
    for (const [a, b] of [[0, middle - 16], [middle + 16, loupe.width]]) {
      pen.moveTo(middle, a);
      pen.lineTo(middle, b);
      pen.moveTo(a, middle);
      pen.lineTo(b, middle);
    }
    pen.stroke();
  }
}

const asked = () => ({
  photo: body.dataset.photo,
  sha256: body.dataset.sha256,
  marks: [...marks.values()].map((m) => ({ kind: m.kind, of: m.of, points_px: m.points })),
});

function measure(after = 60) {
  clearTimeout(wait);
  keep.setAttribute("aria-disabled", String(marks.size === 0));
  const turn = (asking += 1);
  told.classList.remove("bad");
  told.textContent = "Measuring…";
  wait = setTimeout(async () => {
    const answer = await post("/do/marks/try", asked(), 1);
    if (turn !== asking) return; // it was moved again meanwhile
    if (!answer.ok) {
      tell(told, refusal(answer), true);
      return;
    }
    document.getElementById("results").innerHTML = answer.html;
    tell(told, marks.size ? "Measured with your marks; nothing is recorded yet." : "");
  }, after);
}

let key = newKey();
keep.addEventListener("click", async () => {
  if (keep.getAttribute("aria-disabled") === "true") {
    tell(told, "Put a mark on the photo first.", true);
    return;
  }
  keep.setAttribute("aria-disabled", "true");
  tell(told, "Recording, and making the checklist again…");
  const answer = await post("/do/marks/keep", { ...asked(), key }, 1);
  if (answer.ok) {
    window.location.assign(answer.to);
    return;
  }
  key = newKey();
  keep.removeAttribute("aria-disabled");
  tell(told, refusal(answer), true);
});

kind.addEventListener("change", fitting);
document.getElementById("put").addEventListener("click", put);
root.addEventListener("moved", draw);
fitting();
