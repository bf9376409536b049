// An item of weight stop can be decided only after it was open with its photo on screen.

const LONG_ENOUGH_MS = 1000;
const ENOUGH = 0.6; // of the photo's frame within the window
const STEP_MS = 100;

/** Whether a photo that is loaded can be seen now. */
function onScreen(current) {
  if (!current?.viewer?.loaded || document.hidden) return false;
  const frame = current.viewer.stage.getBoundingClientRect();
  const seen = Math.min(frame.bottom, window.innerHeight) - Math.max(frame.top, 0);
  return frame.height > 0 && seen / Math.min(frame.height, window.innerHeight) >= ENOUGH;
}

/** Watch the open item; `done(ask, photos)` is called once when it was looked at long enough. */
export function watch(pictures, done) {
  let timer = null;
  return {
    begin(ask) {
      clearInterval(timer);
      if (ask.dataset.shown === "yes") return;
      const wanted = ask.dataset.see.split(" ").filter(Boolean);
      let time = 0;
      timer = setInterval(() => {
        const still = document.getElementById(ask.id);
        if (!still?.classList.contains("open") || still.dataset.shown === "yes") {
          clearInterval(timer);
          return;
        }
        const current = pictures.current();
        const key = current?.root.dataset.photo;
        if (document.hidden || (wanted.length && !(wanted.includes(key) && onScreen(current)))) return;
        time += STEP_MS;
        if (time < LONG_ENOUGH_MS) return;
        clearInterval(timer);
        done(still, wanted.length ? [key] : []);
      }, STEP_MS);
    },
  };
}
