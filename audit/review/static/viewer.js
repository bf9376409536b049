// A photo that can be looked at closely: whole, or any part of it at full resolution.
// Positions are in px of the upright photo. Zooming sets the size of the sheet in the
// page, so that lines of the drawing over it keep their width.

const MOST = 8; // screen px for one px of the photo
const CLOSE = 4; // a place is shown no closer than this, so that what lies round it is seen
const STEP = 1.35;

export class Viewer {
  constructor(root) {
    this.root = root;
    this.stage = root.querySelector(".stage");
    this.sheet = root.querySelector(".sheet");
    this.img = root.querySelector(".sheet img");
    this.out = root.querySelector("output");
    this.width = Number(root.dataset.w);
    this.height = Number(root.dataset.h);
    this.pointers = new Map();
    this.whole = true;
    this.scale = 1;
    this.x = 0;
    this.y = 0;
    this.listen();
    new ResizeObserver(() => this.resized()).observe(this.stage);
    this.fit();
  }

  get fitScale() {
    return Math.min(this.stage.clientWidth / this.width, this.stage.clientHeight / this.height) || 0.1;
  }

  get loaded() {
    return this.img.complete && this.img.naturalWidth > 0;
  }

  fit() {
    this.whole = true;
    this.scale = this.fitScale;
    this.apply();
  }

  resized() {
    if (this.whole) this.fit();
    else this.apply();
  }

  /** Zoom by a factor, keeping the photo's point under a point of the stage where it is. */
  zoom(factor, at) {
    const sx = at ? at[0] : this.stage.clientWidth / 2;
    const sy = at ? at[1] : this.stage.clientHeight / 2;
    const least = this.fitScale;
    const next = Math.min(MOST, Math.max(least, this.scale * factor));
    const ratio = next / this.scale;
    this.x = sx - (sx - this.x) * ratio;
    this.y = sy - (sy - this.y) * ratio;
    this.scale = next;
    this.whole = next <= least * 1.001;
    this.apply();
  }

  /** Show a part of the photo, given as x0, y0, x1, y1. */
  show(box) {
    const [x0, y0, x1, y1] = box;
    const scale = Math.min(this.stage.clientWidth / (x1 - x0), this.stage.clientHeight / (y1 - y0));
    this.scale = Math.min(CLOSE, Math.max(this.fitScale, scale));
    this.whole = this.scale <= this.fitScale * 1.001;
    this.x = this.stage.clientWidth / 2 - ((x0 + x1) / 2) * this.scale;
    this.y = this.stage.clientHeight / 2 - ((y0 + y1) / 2) * this.scale;
    this.apply();
  }

  pan(dx, dy) {
    this.x += dx;
    this.y += dy;
    this.apply();
  }

  apply() {
    const w = this.width * this.scale;
    const h = this.height * this.scale;
    const held = (at, size, room) => (size <= room ? (room - size) / 2 : Math.min(0, Math.max(room - size, at)));
    this.x = held(this.x, w, this.stage.clientWidth);
    this.y = held(this.y, h, this.stage.clientHeight);
    Object.assign(this.sheet.style, { left: `${this.x}px`, top: `${this.y}px`, width: `${w}px`, height: `${h}px` });
    this.root.classList.toggle("near", !this.whole);
    if (this.out) this.out.textContent = this.whole ? "whole photo" : `${Math.round(this.scale * 100)} %`;
    if (w * (window.devicePixelRatio || 1) > Number(this.root.dataset.screenW) * 1.05) this.sharpen();
    this.root.dispatchEvent(new CustomEvent("moved"));
  }

  /** Put the photo at full resolution in the place of the smaller picture. */
  async sharpen() {
    if (this.sharp) return;
    this.sharp = true;
    const full = new Image();
    full.src = this.root.dataset.full;
    try {
      await full.decode();
      this.img.src = full.src;
      this.root.dataset.sharp = "1";
    } catch {
      this.sharp = false; // the smaller picture stays
    }
  }

  /** From a pointer event to px of the photo. */
  at(event) {
    const frame = this.stage.getBoundingClientRect();
    return [(event.clientX - frame.left - this.x) / this.scale, (event.clientY - frame.top - this.y) / this.scale];
  }

  listen() {
    const stage = this.stage;
    stage.addEventListener("pointerdown", (e) => this.down(e));
    stage.addEventListener("pointermove", (e) => this.move(e));
    for (const kind of ["pointerup", "pointercancel"]) stage.addEventListener(kind, (e) => this.up(e, kind === "pointerup"));
    stage.addEventListener("dblclick", (e) => this.twice(e));
    stage.addEventListener("wheel", (e) => {
      if (!e.ctrlKey) return; // the page scrolls
      e.preventDefault();
      const frame = stage.getBoundingClientRect();
      this.zoom(Math.exp(-e.deltaY / 180), [e.clientX - frame.left, e.clientY - frame.top]);
    }, { passive: false });
    stage.addEventListener("keydown", (e) => this.key(e));
    for (const button of this.root.querySelectorAll("[data-do]")) {
      button.addEventListener("click", () => this.act(button.dataset.do));
    }
  }

  act(what) {
    if (what === "in") this.zoom(STEP);
    else if (what === "out") this.zoom(1 / STEP);
    else if (what === "whole") this.fit();
    else if (what === "bare" || what === "trails") this.toggle(what);
  }

  toggle(what) {
    const on = this.root.classList.toggle(what);
    this.root.querySelector(`[data-do="${what}"]`)?.setAttribute("aria-pressed", String(on));
  }

  twice(event) {
    const frame = this.stage.getBoundingClientRect();
    if (this.whole) this.zoom(3, [event.clientX - frame.left, event.clientY - frame.top]);
    else this.fit();
  }

  key(event) {
    if (event.ctrlKey || event.metaKey || event.altKey || event.target !== this.stage) return;
    const step = event.shiftKey ? 160 : 50;
    const moves = { ArrowLeft: [step, 0], ArrowRight: [-step, 0], ArrowUp: [0, step], ArrowDown: [0, -step] };
    if (moves[event.key] && !this.whole) this.pan(...moves[event.key]);
    else if (event.key === "+" || event.key === "=") this.zoom(STEP);
    else if (event.key === "-") this.zoom(1 / STEP);
    else if (event.key === "0") this.fit();
    else return;
    event.preventDefault();
  }

  down(event) {
    if (event.target.closest(".handle")) return;
    this.pointers.set(event.pointerId, [event.clientX, event.clientY]);
    this.travel = 0;
    this.spread = null;
    if (!this.whole || this.pointers.size > 1) this.stage.setPointerCapture(event.pointerId);
  }

  move(event) {
    const before = this.pointers.get(event.pointerId);
    if (!before) return;
    const now = [event.clientX, event.clientY];
    this.pointers.set(event.pointerId, now);
    this.travel += Math.hypot(now[0] - before[0], now[1] - before[1]);
    if (this.pointers.size === 1) {
      if (!this.whole) this.pan(now[0] - before[0], now[1] - before[1]);
      return;
    }
    const [a, b] = [...this.pointers.values()];
    const spread = Math.hypot(a[0] - b[0], a[1] - b[1]);
    const frame = this.stage.getBoundingClientRect();
    const middle = [(a[0] + b[0]) / 2 - frame.left, (a[1] + b[1]) / 2 - frame.top];
    if (this.spread) this.zoom(spread / this.spread, middle);
    this.spread = spread;
  }

  up(event, meant) {
    const had = this.pointers.delete(event.pointerId);
    this.spread = null;
    if (had && meant && this.pointers.size === 0 && this.travel < 6) {
      this.root.dispatchEvent(new CustomEvent("picked", { detail: { at: this.at(event), target: event.target } }));
    }
  }
}
