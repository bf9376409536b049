// Photos of a page: one is on screen at a time; places, paths and ribbon point at each other.
import { Viewer } from "./viewer.js";

const numbers = (text) => text.split(",").map(Number);

/** Set all photos of the page up; gives back what the page can do with them. */
export function photos() {
  const viewers = new Map();
  for (const root of document.querySelectorAll(".viewer")) {
    viewers.set(root.dataset.photo, { root, viewer: null });
  }

  function viewerOf(key) {
    const held = viewers.get(key);
    if (!held || !held.root.querySelector(".stage")) return null;
    if (!held.viewer) {
      held.viewer = new Viewer(held.root);
      link(held.root, held.viewer);
    }
    return held.viewer;
  }

  function current() {
    const root = document.querySelector(".viewer:not([hidden])");
    return root ? { root, viewer: viewerOf(root.dataset.photo) } : null;
  }

  function show(key) {
    if (!viewers.has(key)) return null;
    for (const [name, { root }] of viewers) root.hidden = name !== key;
    for (const strip of document.querySelectorAll(".strips[data-of]")) strip.hidden = strip.dataset.of !== key;
    for (const tab of document.querySelectorAll("[data-show]")) tab.setAttribute("aria-pressed", String(tab.dataset.show === key));
    const viewer = viewerOf(key);
    viewer?.resized();
    document.dispatchEvent(new CustomEvent("photo-shown"));
    return viewer;
  }

  function lightPlace(root, number) {
    for (const each of root.querySelectorAll("[data-place]")) each.classList.toggle("lit", each.dataset.place === String(number));
  }

  function look(key, view, place) {
    const viewer = show(key);
    if (!viewer) return null;
    if (view) viewer.show(numbers(view));
    else viewer.fit();
    lightPlace(viewer.root, place ?? "");
    return viewer;
  }

  function link(root, viewer) {
    const key = root.dataset.photo;
    for (const spot of root.querySelectorAll(".spot")) {
      spot.addEventListener("click", () => {
        look(key, spot.dataset.view, spot.dataset.place);
        document.dispatchEvent(new CustomEvent("place", { detail: { photo: key, place: spot.dataset.place } }));
      });
    }
    root.addEventListener("picked", ({ detail }) => {
      const spot = [...root.querySelectorAll(".spot")].reverse().find((s) => {
        const [x0, y0, x1, y1] = numbers(s.dataset.box);
        return detail.at[0] >= x0 && detail.at[0] <= x1 && detail.at[1] >= y0 && detail.at[1] <= y1;
      });
      if (spot) {
        spot.click();
        return;
      }
      const seg = detail.target.closest?.(".seg");
      if (seg) light(key, seg.dataset.cable, seg.dataset.seg, true);
    });
    root.querySelector(".over")?.addEventListener("pointerover", (event) => {
      const seg = event.target.closest(".seg");
      if (seg) light(key, seg.dataset.cable, seg.dataset.seg, true);
    });
    root.querySelector(".over")?.addEventListener("pointerout", (event) => {
      if (event.target.closest(".seg")) light(key, null, null, false);
    });
  }

  /** Show one segment on the photo, on the ribbon and in the list of words. */
  function light(key, cable, seg, on) {
    const root = viewers.get(key)?.root;
    const strips = document.querySelector(`.strips[data-of="${key}"]`);
    for (const lit of [...(root?.querySelectorAll(".seg.lit") ?? []), ...(strips?.querySelectorAll(".lit") ?? [])]) lit.classList.remove("lit");
    if (!on) return;
    const one = `[data-seg="${seg}"]`;
    root?.querySelector(`.seg[data-cable="${cable}"]${one}`)?.classList.add("lit");
    const strip = strips?.querySelector(`.strip[data-cable="${cable}"]`);
    for (const each of strip?.querySelectorAll(one) ?? []) each.classList.add("lit");
  }

  function lookAtSegment(key, cable, seg) {
    const path = viewers.get(key)?.root.querySelector(`.seg[data-cable="${cable}"][data-seg="${seg}"] .reach`);
    const viewer = viewerOf(key);
    if (!path || !viewer) return;
    const box = path.getBBox();
    const pad = Math.max(box.width, box.height) * 0.5 + 20;
    viewer.show([box.x - pad, box.y - pad, box.x + box.width + pad, box.y + box.height + pad]);
  }

  for (const strips of document.querySelectorAll(".strips[data-of]")) {
    const key = strips.dataset.of;
    const of = (target) => {
      const seg = target.closest("[data-seg]");
      return seg && { cable: seg.closest(".strip").dataset.cable, seg: seg.dataset.seg };
    };
    for (const kind of ["pointerover", "focusin"]) {
      strips.addEventListener(kind, (event) => {
        const at = of(event.target);
        if (at) light(key, at.cable, at.seg, true);
      });
    }
    for (const kind of ["pointerleave", "focusout"]) strips.addEventListener(kind, () => light(key, null, null, false));
    strips.addEventListener("click", (event) => {
      const at = of(event.target);
      if (!at) return;
      lookAtSegment(key, at.cable, at.seg);
      light(key, at.cable, at.seg, true);
    });
  }
  for (const tab of document.querySelectorAll("[data-show]")) tab.addEventListener("click", () => show(tab.dataset.show));
  const first = document.querySelector(".viewer:not([hidden])");
  if (first) viewerOf(first.dataset.photo);

  function next() {
    const keys = [...viewers.keys()];
    const at = keys.indexOf(current()?.root.dataset.photo);
    if (keys.length > 1) show(keys[(at + 1) % keys.length]);
  }

  return { look, show, current, next };
}
