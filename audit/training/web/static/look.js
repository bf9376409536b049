// Judging a bare photo: marks by tap, click or crosshair, each with what it is held to be.
import { newKey, post, refusal, tell } from "/shared/common.js";
import { draggable } from "/shared/drag.js";
import { Viewer } from "/shared/viewer.js";

const MOST = 40;
const STEPS = [["fine", 1], ["medium", 8], ["wide", 40]]; // screen px
const EDGE = 36; // the photo moves before the crosshair comes nearer to the border than this

const photo = document.body.dataset.photo;
const root = document.querySelector(".viewer");
const list = document.getElementById("list");
const told = document.getElementById("told");
const cross = document.getElementById("cross");
const show = document.getElementById("show");
const stepButton = document.getElementById("step");
const KEPT = `practice:${photo}`;
const began = performance.now();
const timed = localStorage.getItem("practice-timed") === "on";
const marks = [];
let last = 0;
let step = 1;
let say = null;

/** A viewer in which the arrow keys move a crosshair, and a second tap is a second tap. */
class Judging extends Viewer {
  twice() {}

  key(event) {
    if (event.ctrlKey || event.metaKey || event.altKey || event.target !== this.stage) return;
    const by = (event.shiftKey ? STEPS[0][1] : STEPS[step][1]) / this.scale;
    const moves = { ArrowLeft: [-by, 0], ArrowRight: [by, 0], ArrowUp: [0, -by], ArrowDown: [0, by] };
    if (moves[event.key]) {
      aim([at[0] + moves[event.key][0], at[1] + moves[event.key][1]]);
    } else if (event.key === "Enter" || event.key === " ") put(at);
    else if (event.key === "+" || event.key === "=") this.zoom(1.35, onScreen(at));
    else if (event.key === "-") this.zoom(1 / 1.35, onScreen(at));
    else if (event.key === "0") this.fit();
    else if (event.key === "s") nextStep();
    else return;
    event.preventDefault();
  }
}

const viewer = new Judging(root);
let at = [viewer.width / 2, viewer.height / 2];

const onScreen = ([x, y]) => [viewer.x + x * viewer.scale, viewer.y + y * viewer.scale];
const inside = ([x, y]) => [Math.min(viewer.width, Math.max(0, x)), Math.min(viewer.height, Math.max(0, y))];
const where = ([x, y]) => `${Math.round((100 * x) / viewer.width)} % across, ${Math.round((100 * y) / viewer.height)} % down`;

function aim(point) {
  at = inside(point);
  const [x, y] = onScreen(at);
  const over = (v, room) => (v < EDGE ? EDGE - v : v > room - EDGE ? room - EDGE - v : 0);
  viewer.pan(over(x, viewer.stage.clientWidth), over(y, viewer.stage.clientHeight));
  clearTimeout(say);
  say = setTimeout(() => tell(null, `Crosshair ${where(at)}`), 350);
}

function draw() {
  const [x, y] = onScreen(at);
  Object.assign(cross.style, { left: `${x}px`, top: `${y}px` });
  for (const mark of marks) {
    const [mx, my] = onScreen(mark.at);
    Object.assign(mark.pin.style, { left: `${mx}px`, top: `${my}px` });
    mark.pin.hidden = mx < 0 || my < 0 || mx > viewer.stage.clientWidth || my > viewer.stage.clientHeight;
    mark.pin.setAttribute("aria-label", `Mark ${mark.number}, ${where(mark.at)}. Arrow keys move it, Delete takes it away`);
  }
}

function nextStep() {
  step = (step + 1) % STEPS.length;
  steps();
  tell(null, `Step ${STEPS[step][0]}`);
}

function steps() {
  stepButton.textContent = `Step: ${STEPS[step][0]}`;
  stepButton.setAttribute("aria-label", `Step of the crosshair: ${STEPS[step][0]}`);
}

function put(point, held = {}) {
  if (marks.length >= MOST) {
    tell(told, `More than ${MOST} marks are no judgement: take some away.`, true);
    return;
  }
  last += 1;
  const mark = { number: last, at: inside(point) };
  mark.pin = pin(mark);
  mark.row = row(mark);
  marks.push(mark);
  list.prepend(mark.row);
  if (held.check !== undefined) {
    mark.row.querySelector("select").value = held.check;
    mark.row.querySelector("input").value = held.length;
  } else {
    mark.row.querySelector("select").focus();
    tell(told, `Mark ${mark.number}: say what it is.`);
  }
  changed();
}

function pin(mark) {
  const button = document.createElement("button");
  button.type = "button";
  button.className = "handle pin";
  const number = document.createElement("span");
  number.textContent = String(mark.number);
  button.append(number);
  viewer.stage.append(button);
  const move = (point) => {
    mark.at = inside(point);
    draw();
  };
  draggable(button, viewer, () => mark.at, move, changed);
  button.addEventListener("keydown", (event) => {
    if (event.key === "Delete" || event.key === "Backspace") away(mark);
    else if (event.key === "Enter") mark.row.querySelector("select").focus();
    else return;
    event.preventDefault();
  });
  return button;
}

function row(mark) {
  const line = document.getElementById("mark").content.firstElementChild.cloneNode(true);
  const name = `Mark ${mark.number}`;
  line.querySelector(".no").textContent = String(mark.number);
  const [select, input] = [line.querySelector("select"), line.querySelector("input")];
  select.id = `kind-${mark.number}`;
  input.id = `length-${mark.number}`;
  line.querySelector(".kind-label").htmlFor = select.id;
  line.querySelector(".kind-label").append(hidden(` (${name.toLowerCase()})`));
  line.querySelector(".length-label").htmlFor = input.id;
  line.querySelector(".length-label").append(hidden(` (${name.toLowerCase()}, may be left out)`));
  line.querySelector(".go").append(hidden(` (${name.toLowerCase()})`));
  line.querySelector(".away").append(hidden(` (${name.toLowerCase()})`));
  line.querySelector(".go").addEventListener("click", () => {
    const r = Math.max(viewer.width, viewer.height) / 12;
    viewer.show([mark.at[0] - r, mark.at[1] - r, mark.at[0] + r, mark.at[1] + r]);
    mark.pin.focus({ preventScroll: true });
    root.scrollIntoView({ block: "nearest" });
  });
  line.querySelector(".away").addEventListener("click", () => away(mark));
  select.addEventListener("change", () => {
    changed();
    if (select.value) told.textContent = "";
  });
  input.addEventListener("input", changed);
  return line;
}

function hidden(text) {
  const span = document.createElement("span");
  span.className = "unseen";
  span.textContent = text;
  return span;
}

function away(mark) {
  marks.splice(marks.indexOf(mark), 1);
  mark.pin.remove();
  mark.row.remove();
  changed();
  tell(told, `Mark ${mark.number} is taken away.`);
  viewer.stage.focus({ preventScroll: true });
}

/** Marks survive that the page is loaded again. */
function changed() {
  const kept = marks.map((m) => ({ at: m.at, check: m.row.querySelector("select").value, length: m.row.querySelector("input").value }));
  sessionStorage.setItem(KEPT, JSON.stringify(kept));
  document.getElementById("none").hidden = marks.length > 0;
  show.setAttribute("aria-disabled", String(marks.length === 0));
  for (const id of ["nothing", "unusable"]) document.getElementById(id).setAttribute("aria-disabled", String(marks.length > 0));
  draw();
}

/** A length as a number; null where none is given, NaN where it is none. */
function millimetres(text) {
  const plain = text.trim().replace(/\s*mm$/i, "").replace(",", ".");
  if (plain === "") return null;
  const value = /^\d+(\.\d+)?$|^\.\d+$/.test(plain) ? Number(plain) : NaN;
  return value > 0 && value <= 500 ? value : NaN;
}

function named() {
  const found = [];
  for (const mark of marks) {
    const [select, input] = [mark.row.querySelector("select"), mark.row.querySelector("input")];
    const length = millimetres(input.value);
    input.setAttribute("aria-invalid", String(Number.isNaN(length)));
    select.setAttribute("aria-invalid", String(!select.value));
    if (!select.value) {
      tell(told, `Say what mark ${mark.number} is, or take it away.`, true);
      select.focus();
      return null;
    }
    if (Number.isNaN(length)) {
      tell(told, `The length of mark ${mark.number} is a number of mm up to 500, as 3 or 2.5.`, true);
      input.focus();
      return null;
    }
    found.push({ at_px: mark.at, check: select.value, length_mm: length });
  }
  return found;
}

const key = newKey();
let sending = false;

async function answer(kind) {
  if (sending) return;
  if (kind === "marks" && marks.length === 0) {
    tell(told, "Mark a fault first, or choose one of the other two answers.", true);
    return;
  }
  if (kind !== "marks" && marks.length > 0) {
    tell(told, "There are marks on the photo: take them away first, or choose Show me.", true);
    return;
  }
  const given = kind === "marks" ? named() : [];
  if (given === null) return;
  sending = true;
  const seconds = timed ? (performance.now() - began) / 1000 : null;
  const came = await post("/do/answer", { photo, kind, marks: given, seconds, key });
  sending = false;
  if (!came.ok) {
    tell(told, refusal(came), true);
    return;
  }
  sessionStorage.removeItem(KEPT);
  window.location.assign(came.to);
}

show.addEventListener("click", () => answer("marks"));
document.getElementById("nothing").addEventListener("click", () => answer("nothing"));
document.getElementById("unusable").addEventListener("click", () => answer("unusable"));
stepButton.addEventListener("click", nextStep);
root.addEventListener("moved", draw);
root.addEventListener("picked", ({ detail }) => {
  const [x, y] = detail.at;
  if (x >= 0 && y >= 0 && x <= viewer.width && y <= viewer.height) put(detail.at);
});
document.querySelector(".work").addEventListener("keydown", (event) => {
  if (event.key === "Escape" && event.target !== viewer.stage) viewer.stage.focus();
});

function clock() {
  const seconds = Math.floor((performance.now() - began) / 1000);
  document.getElementById("clock").textContent = `Time: ${Math.floor(seconds / 60)} min ${seconds % 60} s`;
}

if (timed) {
  document.getElementById("clock").hidden = false;
  clock();
  setInterval(clock, 1000);
}
steps();
try {
  for (const held of JSON.parse(sessionStorage.getItem(KEPT) ?? "[]")) put(held.at, held);
} catch {
  sessionStorage.removeItem(KEPT); // another page's leavings
}
changed();
