// A fitting (or room, circuit, job): its items are opened one at a time beside the photo.
import { element, newKey, post, refusal, singleKeys, tell, typing } from "./common.js";
import { photos } from "./photos.js";
import { watch } from "./shown.js";

const body = document.body;
const pictures = photos();
const articles = () => [...document.querySelectorAll(".ask")];
const opened = () => document.querySelector(".ask.open");

function open(ask, focus = false) {
  for (const other of articles()) if (other !== ask) close(other);
  ask.classList.add("open");
  ask.querySelector(".ask-body").hidden = false;
  const head = ask.querySelector(".ask-head");
  head.setAttribute("aria-expanded", "true");
  const see = ask.querySelector(".see button");
  if (see) look(see);
  else if (ask.dataset.see) pictures.show(ask.dataset.see.split(" ")[0]);
  if (focus) head.focus();
  if (focus) ask.scrollIntoView({ block: "nearest" });
  const when = ask.querySelector('[name="when"]');
  if (when && !when.value) when.value = localNow();
  shown.begin(ask);
}

function close(ask) {
  ask.classList.remove("open");
  ask.querySelector(".ask-body").hidden = true;
  ask.querySelector(".ask-head").setAttribute("aria-expanded", "false");
}

function localNow() {
  const now = new Date();
  return new Date(now.getTime() - now.getTimezoneOffset() * 60000).toISOString().slice(0, 16);
}

const look = (button) => pictures.look(button.dataset.see, button.dataset.view, button.dataset.place);

/** Put an item's part of the page in the place of the old one, keeping what was typed. */
function renew(old, html) {
  const fresh = element(html);
  const wasOpen = old.classList.contains("open");
  const focus = old.contains(document.activeElement);
  const typed = [...old.querySelectorAll("textarea, input[name=who], input[name=when], input[name=finds]:checked")]
    .map((field) => [field.name, field.type, field.value, field.closest("form")?.dataset.for]);
  const way = old.querySelector(".way-form:not([hidden])")?.dataset.for;
  old.replaceWith(fresh);
  if (wasOpen) {
    fresh.classList.add("open");
    fresh.querySelector(".ask-body").hidden = false;
    fresh.querySelector(".ask-head").setAttribute("aria-expanded", "true");
  }
  if (focus) fresh.querySelector(".ask-head").focus({ preventScroll: true });
  return { fresh, typed, way };
}

function retype(fresh, typed, way) {
  for (const [name, type, value, form] of typed) {
    const fields = [...fresh.querySelectorAll(`form[data-for="${form}"] [name="${name}"]`)];
    if (type === "radio") fields.filter((f) => f.value === value).forEach((f) => { f.checked = true; });
    else fields.forEach((f) => { f.value = value; });
  }
  if (way) unfold(fresh, way, false);
}

function counted() {
  const left = articles().filter((a) => a.dataset.status !== "decided").length;
  document.getElementById("left").textContent = `${left} item${left === 1 ? "" : "s"} left to decide.`;
  return left;
}

const base = (ask, key) => ({ item: ask.dataset.item, digest: ask.dataset.digest, key });
const saw = (ask) => ask.dataset.saw.split(" ").filter(Boolean);

async function act(ask, path, fields) {
  if (ask.dataset.busy) return;
  ask.dataset.busy = "1";
  const answer = await post(path, { ...base(ask, newKey()), saw: saw(ask), ...fields });
  delete ask.dataset.busy;
  if (!answer.html) {
    tell(ask.querySelector(".told"), refusal(answer), true);
    return;
  }
  const { fresh, typed, way } = renew(ask, answer.html);
  if (answer.ok) {
    const left = counted();
    const done = fresh.querySelector(".standing strong")?.textContent ?? "Taken back.";
    tell(fresh.querySelector(".told"), `Recorded. ${done} ${left} left here.`);
    body.dataset.seq = answer.seq;
  } else {
    retype(fresh, typed, way);
    tell(fresh.querySelector(".told"), refusal(answer), true);
  }
}

const shown = watch(pictures, async (ask, keys) => {
  const answer = await post("/do/shown", { ...base(ask, newKey()), photos: keys });
  const still = document.getElementById(ask.id);
  if (!still) return;
  if (!answer.ok || !answer.html) {
    const now = answer.html ? renew(still, answer.html).fresh : still;
    tell(now.querySelector(".told"), refusal(answer), true);
    // It is still open on screen: it must not wait for somebody to close and open it.
    if (now.classList.contains("open")) shown.begin(now);
    return;
  }
  // Only what the showing changed: somebody may be typing here.
  still.dataset.shown = "yes";
  still.querySelector(".first").hidden = true;
  for (const button of still.querySelectorAll("[data-way]")) button.removeAttribute("aria-disabled");
  tell(null, "It was on screen: it can be decided now.");
});

function refused(ask) {
  if (ask.dataset.shown === "yes") return false;
  tell(ask.querySelector(".told"), "Look at it with its photo on screen first, for a second.", true);
  return true;
}

function unfold(ask, way, focus = true) {
  for (const form of ask.querySelectorAll(".way-form")) {
    form.hidden = form.dataset.for !== way || (focus && !form.hidden);
    ask.querySelector(`[data-way="${form.dataset.for}"]`).setAttribute("aria-expanded", String(!form.hidden));
    if (focus && !form.hidden) form.querySelector("input, textarea").focus();
  }
}

function choose(ask, way) {
  if (refused(ask)) return;
  if (way === "agree") act(ask, "/do/decide", { choice: "agree" });
  else unfold(ask, way);
}

document.addEventListener("click", (event) => {
  const ask = event.target.closest(".ask");
  if (!ask) return;
  const button = event.target.closest("button");
  if (!button || button.form?.classList.contains("way-form")) return;
  if (button.classList.contains("ask-head")) {
    if (ask.classList.contains("open")) close(ask);
    else open(ask);
  } else if (button.dataset.see) look(button);
  else if (button.dataset.way) choose(ask, button.dataset.way);
  else if ("undo" in button.dataset) act(ask, "/do/undo", {});
});

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (!form.matches(".way-form")) return;
  event.preventDefault();
  const fields = Object.fromEntries(new FormData(form));
  if (fields.when) fields.when = new Date(fields.when).toISOString();
  act(form.closest(".ask"), "/do/decide", { choice: form.dataset.for, ...fields });
});

// A place that was picked on the photo points at the items that speak of it.
document.addEventListener("place", ({ detail }) => {
  const mine = `.see [data-see="${detail.photo}"][data-place="${detail.place}"]`;
  for (const ask of articles()) ask.classList.toggle("linked", Boolean(ask.querySelector(mine)));
});

function step(by) {
  const all = articles().filter((a) => a.offsetParent !== null);
  const at = all.indexOf(opened() ?? document.activeElement?.closest?.(".ask"));
  const next = at < 0 ? (by > 0 ? all[0] : all[all.length - 1]) : all[at + by];
  if (next) open(next, true);
}

const ways = { a: "agree", v: "overrule", t: "retake", s: "seen on site" };

document.addEventListener("keydown", (event) => {
  if (event.repeat || typing(event)) return;
  if (event.key === "Escape") {
    const form = opened()?.querySelector(".way-form:not([hidden])");
    if (form) unfold(opened(), form.dataset.for);
    return;
  }
  if (!singleKeys() || event.defaultPrevented) return;
  const seen = pictures.current();
  const ask = opened();
  if (event.key === "j") step(1);
  else if (event.key === "k") step(-1);
  else if (event.key === "n") pictures.next();
  else if (ways[event.key] && ask) choose(ask, ways[event.key]);
  else if (event.key === "z" && ask?.querySelector("[data-undo]")) act(ask, "/do/undo", {});
  else if (!seen?.viewer) return;
  else if (event.key === "0") seen.viewer.fit();
  else if (event.key === "+" || event.key === "=") seen.viewer.act("in");
  else if (event.key === "-") seen.viewer.act("out");
  else if (event.key === "b") seen.viewer.toggle("bare");
  else if (/^[1-9]$/.test(event.key)) seen.root.querySelector(`.spot[data-place="${event.key}"]`)?.click();
  else return;
  event.preventDefault();
});

const onlyLeft = document.getElementById("only-left");
onlyLeft?.addEventListener("change", () => {
  document.querySelector(".asks").classList.toggle("only-left", onlyLeft.checked);
});

const keys = document.getElementById("single-keys");
if (keys) {
  keys.checked = singleKeys();
  keys.addEventListener("change", () => localStorage.setItem("single-keys", keys.checked ? "on" : "off"));
}

/** Take over what others decided meanwhile. */
async function news() {
  if (document.hidden) return;
  const response = await fetch(`/news?at=${body.dataset.at}`).catch(() => null);
  if (!response?.ok) return;
  const found = await response.json();
  if (found.list !== body.dataset.list) {
    document.getElementById("moved").hidden = false;
    return;
  }
  if (String(found.seq) === body.dataset.seq) return;
  body.dataset.seq = found.seq;
  for (const ask of articles()) {
    const token = [ask.dataset.digest, ...saw(ask)].join(" ");
    if (ask.dataset.busy || found.tokens[ask.dataset.item] === token) continue;
    const part = await fetch(`/at/${body.dataset.at}/${ask.dataset.item}`).catch(() => null);
    if (!part?.ok) continue;
    const { fresh, typed, way } = renew(document.getElementById(ask.id), await part.text());
    retype(fresh, typed, way);
    const said = fresh.querySelector(".standing strong")?.textContent ?? "taken back";
    tell(fresh.querySelector(".told"), `Meanwhile: ${said}`);
  }
  counted();
}
setInterval(news, 3000);
document.getElementById("again").addEventListener("click", () => window.location.reload());

// In the plan of the room this fitting's label is underlined.
for (const words of document.querySelectorAll(".plan[data-label] svg text")) {
  words.classList.toggle("here", words.textContent.trim() === words.closest(".plan").dataset.label);
}

const wanted = document.getElementById(window.location.hash.slice(1));
if (wanted?.matches(".ask")) open(wanted, true);
const measured = new URLSearchParams(window.location.search).get("measured");
if (measured) pictures.show(measured);
