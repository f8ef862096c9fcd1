// Wires the page: what comes from the server to what is shown, and what the player does to the server.

import { get, send } from "./actions.js";
import { askedAgain } from "./again.js";
import { openCheck } from "./check.js";
import { byId, setData, setText, within } from "./dom.js";
import { FingerStrip } from "./finger-strip.js";
import { clock } from "./format.js";
import { HandPanel } from "./hands.js";
import { listenToKeys } from "./keys.js";
import { fillWords, words } from "./language.js";
import { Live } from "./live.js";
import { announcement, message } from "./message.js";
import { CheckOffer } from "./offer.js";
import { once } from "./once.js";
import { clear, draw } from "./overlay.js";
import { PassageBar } from "./passage.js";
import { Sound } from "./sound.js";
import { showSummary } from "./summary.js";
import { Telling } from "./telling.js";
import { SIDES, WRIST, stateKey } from "./terms.js";
import { translated } from "./translated.js";

/** @import { Answer, LiveHeader, PracticeState, SessionDocument, Side, State, Summary, Warned } from "./api.d.ts" */
/** @import { View } from "./message.js" */

/** Numbers are taken off the page when no picture has come for this long. */
const STALE_MS = 1000;
const MARKED_MS = 2500;
const ERROR_MS = 6000;
const WATCH_MS = 250;

fillWords(document);
const canvas = byId("canvas", HTMLCanvasElement);
const panels = [...document.querySelectorAll(".hand")].flatMap((node) => (node instanceof HTMLElement ? [new HandPanel(node, setWarns)] : []));
const strip = new FingerStrip(byId("fingers", HTMLElement), byId("fingers-toggle", HTMLButtonElement));
const buttons = { start: byId("start", HTMLButtonElement), mark: byId("mark", HTMLButtonElement), stop: byId("stop", HTMLButtonElement),
  mute: byId("mute", HTMLButtonElement), check: byId("check", HTMLButtonElement) };
const aside = { node: byId("aside", HTMLElement), text: within(byId("aside", HTMLElement), "span", HTMLElement), hide: within(byId("aside", HTMLElement), "button", HTMLButtonElement) };
const summaryNode = byId("summary", HTMLElement);

/** @type {View} */
const view = {
  connection: "joining",
  state: null,
  warnings: [],
  hands: { left: { state: "idle", quantity: null, refusal: null }, right: { state: "idle", quantity: null, refusal: null } },
  quiet: "",
  pictures: false,
  turning: null,
  error: null,
  late: null,
};
/** @type {string | null} */
let summaryOf = null;
/** No answer to an earlier question for a summary is shown. */
let summariesAsked = 0;
let pictureAt = -Infinity;
/** @type {Set<string>} */
let warned = new Set();
/** Of the newest frame, before anything is held still. @type {Record<Side, State>} */
const rawStates = { left: "idle", right: "idle" };
let markedUntil = 0;
let errorUntil = 0;
let sayTurn = false;
/** What is to be warned of is changed one after another. */
let warnsChanged = Promise.resolve();

const telling = new Telling();
const sound = new Sound(() => renderSound());
const passages = new PassageBar({ say, fail });
const offer = new CheckOffer(byId("before", HTMLElement), fail);
/** Asides that were put away; they stay so until the page is opened again. @type {Set<string>} */
const hidden = new Set();

buttons.mark.addEventListener("click", mark);
buttons.stop.addEventListener("click", () => turn("stop"));
buttons.start.addEventListener("click", () => turn("start"));
buttons.mute.addEventListener("click", () => sound.setMuted(!sound.muted));
buttons.check.addEventListener("click", once(() => openCheck({ sessionId: view.state?.session_id ?? null, fail })));
aside.hide.addEventListener("click", () => {
  hidden.add(aside.text.textContent ?? "");
  renderAside();
});
listenToKeys({
  getPhase() {
    if (view.connection !== "open" || view.turning !== null || view.state === null) return "busy";
    if (view.state.phase === "watching") return "watching";
    return view.state.phase === "opening" ? "busy" : "ready";
  },
  mark, stop: () => turn("stop"), start: () => turn("start"),
});
setInterval(watchPictures, WATCH_MS);
window.addEventListener("resize", () => { if (!view.pictures) clear(canvas); });
renderSound();
render();
new Live({ onPicture, onState: takeState, onConnection });

/**
 * @param {LiveHeader} header
 * @param {ImageBitmap} bitmap
 */
function onPicture(header, bitmap) {
  if (view.state?.phase !== "watching") return;
  pictureAt = performance.now();
  view.pictures = true;
  shapePicture(`${header.width} / ${header.height}`);
  view.warnings = header.warnings;
  for (const panel of panels) {
    const hand = header.hands.find((entry) => entry.side === panel.side);
    if (!hand) continue;
    view.hands[panel.side] = panel.show(hand, header.time_s, header.warnings);
    rawStates[panel.side] = stateKey(hand.verdict.state);
  }
  view.quiet = telling.update(view.hands, view.state.warns, header.time_s);
  // Not on a hand that the panel beside calls not seen: the picture and the word say the same.
  draw(canvas, header, bitmap, WRIST, SIDES.filter((side) => view.hands[side].state !== "unseen"));
  strip.show(header);
  announceWarnings(header.warnings);
  setText(byId("facts", HTMLElement), facts(header, view.state.marks));
  render();
}

/** @param {boolean} connected */
function onConnection(connected) {
  // Joined again only with the first state: until then nothing is known of the practice.
  if (connected) return;
  view.connection = "lost";
  dropPicture(true);
  render();
}

/** @param {PracticeState} state */
function takeState(state) {
  const before = view.state?.phase;
  view.state = state;
  view.connection = "open";
  if (state.passage !== undefined) passages.show(state.passage);
  for (const panel of panels) panel.setWarns(state.warns.includes(panel.side));
  renderAside();
  offer.update(state);
  if (state.phase !== before) {
    if (state.phase === "watching") {
      pictureAt = performance.now();
      warned = new Set();
      say(words.live.watching);
    } else {
      dropPicture(false);
    }
  }
  // Not while a stop is on its way: its own answer says when all is kept.
  const done = state.phase === "stopped" || state.phase === "failed" ? state.session_id : null;
  if (done === null) hideSummary();
  else if (done !== summaryOf && view.turning === null) openSummary(done);
  render();
}

async function mark() {
  /** @type {Answer<PracticeState & { marked_s: number | null }>} */
  const { body, error } = await send("POST", "mark");
  if (!body) return fail(error ?? "");
  if (body.marked_s === null) return undefined;
  const told = words.live.marked(clock(body.marked_s));
  setText(within(buttons.mark, ".button-label", HTMLElement), `✓ ${told}`);
  setData(buttons.mark, "done", "true");
  markedUntil = performance.now() + MARKED_MS;
  say(told);
  return takeLate(body);
}

/**
 * The state from an answer that may have come after the end of the practice that it is of.
 * @param {PracticeState} state
 */
function takeLate(state) {
  if (view.state?.phase === state.phase && view.state.session_id === state.session_id) takeState(state);
}

/**
 * Which hands are warned of is the practice's, so that every page shows the same. Both switches may be pressed at once.
 * @param {Side} side
 * @param {boolean} on
 */
function setWarns(side, on) {
  warnsChanged = warnsChanged.then(() => changeWarns(side, on));
}

/**
 * @param {Side} side
 * @param {boolean} on
 */
async function changeWarns(side, on) {
  const sides = SIDES.filter((one) => (one === side ? on : view.state?.warns.includes(one)));
  /** @type {Answer<PracticeState>} */
  const { body, error } = await send("POST", "warns", { sides });
  if (!body) return fail(error ?? "");
  say(words.live.warnsNow(side, on));
  return takeLate(body);
}

/** @param {"start" | "stop"} which */
async function turn(which) {
  if (view.turning !== null) return;
  view.turning = which;
  view.error = null;
  render();
  /** @type {Answer<PracticeState>} */
  const { body, error } = await send("POST", which);
  view.turning = null;
  if (body) takeState(body);
  else fail(error ?? "");
}

/** @param {string} sessionId */
async function openSummary(sessionId) {
  summaryOf = sessionId;
  const mine = (summariesAsked += 1);
  const wanted = () => mine === summariesAsked;
  const address = `sessions/${encodeURIComponent(sessionId)}`;
  /** @type {Answer<Summary>} */
  const { body, error } = await askedAgain(() => get(`${address}/summary`), wanted, tellLate);
  if (wanted() && !body) fail(error ?? "");
  if (!wanted() || !body) return;
  /** @type {Answer<SessionDocument>} */
  const kept = await get(address);
  if (!wanted()) return;
  view.late = null;
  showSummary(summaryNode, body, { fault: translated(view.state?.fault ?? "") || null, onStart: () => turn("start"), sessionId, fail,
    kept: kept.body ?? { clips: [], passages: [], finding: null } });
  byId("watch", HTMLElement).hidden = true;
  summaryNode.hidden = false;
  render();
  window.scrollTo(0, 0);
  summaryNode.querySelector("h1")?.focus();
}

/**
 * The sentence stands until the summary comes, or is wanted no more.
 * @param {string} why
 */
function tellLate(why) {
  const sentence = `${words.live.summaryLate} ${why}`.trim();
  if (view.late !== sentence) say(sentence);
  view.late = sentence;
  render();
}

function hideSummary() {
  summaryOf = null;
  summariesAsked += 1;
  view.late = null;
  if (summaryNode.hidden) return;
  summaryNode.hidden = true;
  summaryNode.replaceChildren();
  byId("watch", HTMLElement).hidden = false;
}

/** @param {string} sentence */
function fail(sentence) {
  view.error = sentence;
  errorUntil = performance.now() + ERROR_MS;
  say(sentence);
  render();
}

/**
 * Once per warning: a sound and a sentence for screen readers. The visible sentence keeps counting.
 * @param {readonly Warned[]} warnings
 */
function announceWarnings(warnings) {
  const keys = warnings.map((w) => [w.side, w.quantity, w.direction, w.since_s].join(" "));
  const fresh = warnings.filter((_, i) => !warned.has(keys[i] ?? ""));
  if (fresh.length > 0) {
    sound.warn();
    say(fresh.map(announcement).join(" "));
  } else if (warned.size > 0 && warnings.length === 0) {
    // A warning also ends when its hand goes out of sight, or is not warned of any more: that is no easing.
    const eased = [...warned].every((key) => SIDES.some((side) => key.startsWith(side) && ["within", "beyond"].includes(rawStates[side])));
    if (eased) say(words.live.eased);
  }
  warned = new Set(keys);
}

function watchPictures() {
  const now = performance.now();
  if (now - pictureAt > STALE_MS && (view.pictures || (view.state?.phase === "watching" && view.connection === "open"))) {
    dropPicture(true);
    render();
  }
  if (markedUntil && now > markedUntil) {
    markedUntil = 0;
    setText(within(buttons.mark, ".button-label", HTMLElement), words.live.mark);
    setData(buttons.mark, "done", "false");
  }
  if (view.error && now > errorUntil) {
    view.error = null;
    render();
  }
}

/** @param {string} aspect */
function shapePicture(aspect) {
  const watch = byId("watch", HTMLElement);
  if (watch.style.getPropertyValue("--aspect") !== aspect) watch.style.setProperty("--aspect", aspect);
}

/** @param {boolean} lost */
function dropPicture(lost) {
  view.pictures = false;
  view.warnings = [];
  for (const panel of panels) view.hands[panel.side] = panel.blank(lost);
  telling.reset();
  view.quiet = "";
  strip.blank(lost ? words.live.noPictureShort : "");
  clear(canvas);
  setText(byId("facts", HTMLElement), "");
}

function render() {
  const { state, connection } = view;
  const phase = connection === "open" && state ? state.phase : connection;
  setData(document.body, "phase", phase);
  const { kind, text, advice = "" } = message(view);
  setData(byId("message", HTMLElement), "kind", kind);
  // Until there is something to tell of the hands, that they are watched.
  const nothingYet = text === "" && SIDES.every((side) => view.hands[side].state === "idle");
  setMessage(nothingYet ? words.live.watching : text, advice);
  // Beside a summary the message's own place is hidden, and only what stands in the way is said.
  const beside = !summaryNode.hidden && (kind === "lost" || view.error !== null);
  byId("banner", HTMLElement).hidden = !beside;
  setText(byId("banner", HTMLElement), beside ? text : "");
  const watching = phase === "watching";
  buttons.mark.hidden = buttons.stop.hidden = !watching;
  buttons.start.hidden = watching || phase === "opening";
  buttons.start.disabled = connection !== "open" || view.turning !== null;
  buttons.stop.disabled = view.turning !== null;
  setText(within(buttons.start, ".button-label", HTMLElement), state?.session_id ? words.live.startAgain : words.live.start);
  byId("clock", HTMLElement).hidden = !watching;
  setText(within(document, ".clock-time", HTMLElement), clock(state?.practised_s ?? 0));
  setText(byId("no-picture", HTMLElement), view.pictures ? "" : emptyPicture(phase));
}

/**
 * All of it, in smaller letters where it is too long for its place.
 * @param {string} text
 * @param {string} advice
 */
function setMessage(text, advice) {
  const node = within(document, ".message-text", HTMLElement);
  const said = advice ? `${text} ` : text;
  const whole = `${said}${advice}`;
  if (node.textContent === whole) return;
  within(node, ".message-said", HTMLElement).textContent = said;
  within(node, ".message-advice", HTMLElement).textContent = advice;
  for (const size of ["whole", "smaller", "smallest"]) {
    setData(node, "size", size);
    if (node.offsetHeight <= (node.parentElement?.clientHeight ?? Infinity)) break;
  }
}

/** @param {string} phase */
function emptyPicture(phase) {
  const text = words.live.empty;
  if (phase === "watching") return text.waiting;
  if (phase === "opening") return words.live.opening;
  return phase === "stopped" ? `${text.stopped} ${text.pedals}` : "";
}

/**
 * @param {LiveHeader} header
 * @param {number} marks
 */
function facts(header, marks) {
  return `${[words.live.framesPerSecond(Math.round(header.measured_fps)), header.dropped > 0 ? words.live.skipped(header.dropped) : "",
    marks > 0 ? words.marks.count(marks) : ""].filter(Boolean).join(", ")}.`;
}

/** One quiet sentence at a time; a hidden one stays hidden until the page is opened again. */
function renderAside() {
  const [text = ""] = (view.state?.asides ?? []).map(translated).filter((one) => !hidden.has(one));
  if (text && aside.text.textContent !== text) say(text);
  setText(aside.text, text);
  aside.node.hidden = aside.hide.hidden = text === "";
  buttons.check.disabled = view.state?.phase === "watching" || view.state?.phase === "opening";
}

function renderSound() {
  buttons.mute.setAttribute("aria-pressed", String(sound.muted));
  byId("sound-hint", HTMLElement).hidden = sound.muted || sound.allowed;
}

/** @param {string} text */
function say(text) {
  // A trailing space makes the same words count as new.
  sayTurn = !sayTurn;
  byId("say", HTMLElement).textContent = sayTurn ? text : `${text}\u00a0`;
}
