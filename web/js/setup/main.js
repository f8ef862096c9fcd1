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
  /** @type {Answer<SetUp>} */
  const { body, error } = await send("POST", "setup/open");
  if (body) take(body);
  else if (error) fail(error);
}

async function ask() {
  if (starting || document.hidden) return;
  /** @type {Answer<SetUp>} */
  const { body } = await get("setup");
  if (body && !starting) take(body);
}

/** @param {SetUp} body */
function take(body) {
  now = body;
  render(false);
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
  /** @type {Answer<SetUp>} */
  const { body, error } = await send(method, path, request);
  if (body) now = body;
  else fail(error ?? "");
  render(true);
  return body !== null;
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
  const timer = setInterval(() => {
    if (counting === null) return clearInterval(timer);
    counting -= 1;
    if (counting <= 0) {
      clearInterval(timer);
      return start();
    }
    return render(false);
  }, 1000);
}

function stopCounting() {
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
