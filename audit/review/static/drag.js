// A point on the photo that can be moved: by mouse, by finger, by the arrow keys.

/** Let a button move its point.
 * `at` gives the point in px of the photo, `move` takes a new one, `done` is called after each move
 * with the milliseconds that are worth waiting for the next one. */
export function draggable(button, viewer, at, move, done) {
  let from = null;
  button.addEventListener("pointerdown", (event) => {
    event.preventDefault();
    button.focus({ preventScroll: true });
    button.setPointerCapture(event.pointerId);
    from = { x: event.clientX, y: event.clientY, at: [...at()] };
  });
  button.addEventListener("pointermove", (event) => {
    if (!from) return;
    // The point moves as far as the finger does, so that the finger need not cover it.
    move([from.at[0] + (event.clientX - from.x) / viewer.scale, from.at[1] + (event.clientY - from.y) / viewer.scale]);
  });
  for (const end of ["pointerup", "pointercancel"]) {
    button.addEventListener(end, () => {
      if (from) done(60);
      from = null;
    });
  }
  button.addEventListener("keydown", (event) => {
    const step = event.shiftKey ? 10 : 1;
    const moves = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] };
    const by = moves[event.key];
    if (!by) return;
    event.preventDefault();
    move([at()[0] + by[0], at()[1] + by[1]]);
    done(500);
  });
}
