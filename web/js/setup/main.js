// Before a practice: the picture, the steps, and Start. Nothing is recorded from here.

import { get, send } from "../actions.js";
import { around, byId, element, setData, setText, within } from "../dom.js";
import { fillWords, words } from "../language.js";
import { Live } from "../live.js";
import { fail, say } from "../log/parts.js";
import { clear, draw } from "../overlay.js";
import { SIDES, WRIST } from "../terms.js";
import { CameraStep, playStep } from "./choices.js";
import { translated } from "../translated.js";
import { handStep } from "./hand.js";
import { limitsStep } from "./limits.js";
import { MeasuringBox } from "./measuring.js";
import { button } from "./parts.js";
import { PlacementStep } from "./placement.js";

/** @import { Answer, LiveHeader, PracticeState } from "../api.d.ts" */
/** @import { Choices, Instrument, SetUp } from "./api.d.ts" */

/** Often enough for what is measured meanwhile; the camera is given back where nobody asks. */
const ASK_MS = 500;
const STALE_MS = 1500;
/** Long enough to take up an instrument. */
const COUNTDOWN_S = 10;
const PLACE = "/";

fillWords(document);
document.title = `${words.setup.title} · posturewatch`;
const canvas = byId("canvas", HTMLCanvasElement);
const empty = byId("no-picture", HTMLElement);
const nodes = { steps: byId("steps", HTMLElement), about: byId("look-about", HTMLElement), start: byId("start", HTMLButtonElement),
  countdown: byId("countdown", HTMLButtonElement), skip: byId("skip", HTMLInputElement) };

/** @type {SetUp | null} */
let now = null;
/** @type {Instrument[]} */
let instruments = [];
let starting = false;
let pictureAt = -Infinity;
/** Seconds left, null where none are counted. @type {number | null} */
let counting = null;
/** @type {ReturnType<typeof setInterval> | undefined} */
let counter;
/** Requests that change something, so far and under way: no earlier answer is shown over what they change. */
const acts = { begun: 0, open: 0 };
let asking = false;
let playOpen = false;
/** What the steps show; they are built anew only when it changes. */
let shown = "";

const measuringBox = new MeasuringBox(act);
const placementStep = new PlacementStep();
const cameraStep = new CameraStep(choose, () => render(true));

nodes.start.addEventListener("click", start);
nodes.countdown.addEventListener("click", () => (counting === null ? count(COUNTDOWN_S) : stopCounting()));
nodes.skip.addEventListener("change", () => choose({ before_start: !nodes.skip.checked }));
document.addEventListener("keydown", (event) => {
  if (event.key !== "PageUp" || event.repeat || event.ctrlKey || event.altKey || event.metaKey || event.shiftKey) return;
  // A pedal sends it wherever the page is scrolled to; in a field it is the field's.
  if (around(event, "input:not([type=checkbox], [type=radio]), select, textarea, dialog")) return;
  event.preventDefault();
  start();
});
setInterval(ask, ASK_MS);
setInterval(() => { if (performance.now() - pictureAt > STALE_MS) renderEmpty(); }, STALE_MS / 3);
window.addEventListener("resize", () => { if (performance.now() - pictureAt > STALE_MS) clear(canvas); });
new Live({ onPicture, onState, onConnection: (connected) => { if (!connected) pictureAt = -Infinity; } });
begin();

async function begin() {
  /** @type {Answer<{ instruments: Instrument[] }>} */
  const { body } = await get("setup/instruments");
  instruments = body?.instruments ?? [];
  await open();
  playOpen = now !== null && !now.choices.remembered;
  render(true);
  cameraStep.look();
  cameraStep.listen();
}

async function open() {
  await changed(send("POST", "setup/open"));
  render(false);
}

async function ask() {
  if (starting || asking || document.hidden) return;
  asking = true;
  const { begun } = acts;
  /** @type {Answer<SetUp>} */
  const { body } = await get("setup");
  asking = false;
  if (!body || starting || acts.open > 0 || acts.begun !== begun) return;
  now = body;
  render(false);
}

/**
 * Waits for a change; true where it worked, else what went wrong is shown.
 * @param {Promise<Answer<SetUp>>} request
 */
async function changed(request) {
  const mine = (acts.begun += 1);
  acts.open += 1;
  const { body, error } = await request;
  acts.open -= 1;
  if (body && mine === acts.begun) now = body;
  if (!body) fail(error ?? "");
  return body !== null;
}

/** @param {Partial<Choices>} changes */
function choose(changes) {
  return act("PATCH", "setup", changes);
}

/**
 * @param {"POST" | "PUT" | "PATCH" | "DELETE"} method
 * @param {string} path
 * @param {unknown} [request]
 */
async function act(method, path, request) {
  byId("banner", HTMLElement).hidden = true;
  const worked = await changed(send(method, path, request));
  render(true);
  return worked;
}

async function start() {
  if (starting || now === null) return;
  starting = true;
  stopCounting();
  render(false);
  /** @type {Answer<PracticeState>} */
  const { body, error } = await send("POST", "start");
  if (body) location.assign(PLACE);
  else {
    starting = false;
    fail(error ?? "");
    render(false);
  }
}

/** @param {number} seconds */
function count(seconds) {
  counting = seconds;
  say(words.setup.starting(seconds));
  render(false);
  counter = setInterval(() => {
    if (counting === null) return undefined;
    counting -= 1;
    return counting <= 0 ? start() : render(false);
  }, 1000);
}

function stopCounting() {
  clearInterval(counter);
  counting = null;
  render(false);
}

/** @param {PracticeState} state */
function onState(state) {
  setData(document.body, "phase", state.phase);
  // Begun from another page, or by the command.
  if (state.phase === "watching" && !starting) location.assign(PLACE);
}

/**
 * @param {LiveHeader} header
 * @param {ImageBitmap} bitmap
 */
function onPicture(header, bitmap) {
  pictureAt = performance.now();
  within(document, ".look-picture", HTMLElement).style.setProperty("--aspect", `${header.width} / ${header.height}`);
  draw(canvas, header, bitmap, WRIST, SIDES);
  renderEmpty();
}

/** @param {boolean} anew whether the steps may be built anew although nothing of theirs has changed */
function render(anew) {
  if (now === null) return;
  const { choices, preview } = now;
  setData(document.body, "preview", preview.phase);
  setData(document.body, "counting", String(counting !== null));
  setText(within(nodes.start, ".button-label", HTMLElement), starting ? words.setup.opening : words.setup.start);
  nodes.start.disabled = starting;
  setText(within(nodes.countdown, ".button-label", HTMLElement), counting === null ? words.setup.startIn(COUNTDOWN_S) : words.setup.stopCountdown);
  nodes.skip.checked = !choices.before_start;
  setText(nodes.about, translated(preview.notice ?? ""));
  renderEmpty();
  const instrument = instruments.find((one) => one.name === choices.instrument);
  placementStep.show(now.placement, instrument, choices, preview.phase === "on");
  measuringBox.show(now.measuring);
  const key = JSON.stringify([choices, preview.source, playOpen, now.player, now.straight, now.limits]);
  if (key === shown && !anew) return;
  shown = key;
  const focus = focused();
  nodes.steps.replaceChildren(playStep(choices, instruments, choose, playOpen, () => { playOpen = true; render(true); }), cameraStep.node(choices, preview, instrument), placementStep.node,
    handStep(now, choose, act), limitsStep(now, choose, act));
  focus?.();
}

/** What had the keyboard has it again after the steps were built anew. */
function focused() {
  const node = document.activeElement;
  if (!(node instanceof HTMLInputElement) || !nodes.steps.contains(node)) return null;
  const { name, value } = node;
  return () => {
    const again = [...nodes.steps.querySelectorAll("input")].find((one) => one === node || (name !== "" && one.name === name && one.value === value));
    again?.focus({ preventScroll: true });
  };
}

function renderEmpty() {
  if (counting !== null) return empty.replaceChildren(element("span", { className: "counting" }, String(counting)));
  const stale = performance.now() - pictureAt > STALE_MS;
  if (!stale || now === null) return empty.replaceChildren();
  const { phase, fault, notice } = now.preview;
  const text = now.choices.film ? words.setup.filmPhase : words.setup.phase;
  clear(canvas);
  // A camera that was unplugged says so, and is tried again.
  if (phase === "on" || phase === "opening") return empty.replaceChildren(element("span", {}, translated(notice ?? text.opening)));
  return empty.replaceChildren(element("span", {}, translated(fault ?? text[phase])), button(words.setup.again, open));
}
