// Wires the page: what comes from the server to what is shown, and what the player does to the server.

import { get, post } from "./actions.js";
import { setData, setText } from "./dom.js";
import { FingerStrip } from "./finger-strip.js";
import { HandPanel } from "./hands.js";
import { listenToKeys } from "./keys.js";
import { Live } from "./live.js";
import { openCheck } from "./check.js";
import { message } from "./message.js";
import { clear, draw } from "./overlay.js";
import { PassageBar } from "./passage.js";
import { Sound } from "./sound.js";
import { showSummary } from "./summary.js";
import { clock, wristOnly } from "./words.js";

/** Numbers are taken off the page when no picture has come for this long. */
const STALE_MS = 1000;
const MARKED_MS = 2500;

const byId = (id) => document.getElementById(id);
const canvas = byId("canvas");
const panels = [...document.querySelectorAll(".hand")].map((node) => new HandPanel(node));

const strip = new FingerStrip(byId("fingers"), byId("fingers-toggle"));

const view = {
  connection: "joining",
  state: null,
  limits: null,
  warnings: [],
  hands: {},
  pictures: false,
  turning: null,
  error: null,
  summaryOf: null,
};
let pictureAt = -Infinity;
let warned = new Set();
let markedUntil = 0;
let errorUntil = 0;

const sound = new Sound(() => renderSound());

new Live({
  onPicture(header, bitmap) {
    if (view.state?.phase !== "watching") return;
    pictureAt = performance.now();
    view.pictures = true;
    draw(canvas, header, bitmap, wristOnly(view.limits.quantities));
    shapePicture(`${header.width} / ${header.height}`);
    view.warnings = header.warnings;
    view.hands = Object.fromEntries(panels.map((panel) => {
      const hand = header.hands.find((entry) => entry.side === panel.side);
      return [panel.side, panel.show(hand, header.time_s, header.warnings)];
    }));
    strip.show(header);
    announceWarnings(header.warnings);
    setText(byId("facts"), facts(header));
    render();
  },
  onState(state, limits) {
    view.limits = limits;
    for (const panel of panels) panel.describe(wristOnly(limits.quantities));
    strip.describe(limits.quantities);
    takeState(state);
  },
  onConnection(connected) {
    // Joined again only with the first state: until then nothing is known of the practice.
    if (connected) return;
    view.connection = "lost";
    dropPicture("No connection.");
    render();
  },
});

listenToKeys({
  getPhase() {
    if (view.connection !== "open" || view.turning !== null) return "busy";
    if (view.state.phase === "watching") return "watching";
    return view.state.phase === "opening" ? "busy" : "ready";
  },
  mark, stop: () => turn("stop"), start: () => turn("start"),
});
byId("mark").addEventListener("click", mark);
byId("stop").addEventListener("click", () => turn("stop"));
byId("start").addEventListener("click", () => turn("start"));
byId("mute").addEventListener("click", () => sound.setMuted(!sound.muted));
const passages = new PassageBar({ say, fail });
const hidden = new Set();
byId("check").addEventListener("click", () => openCheck({ sessionId: view.state?.session_id ?? null, fail }));
byId("aside").querySelector("button").addEventListener("click", () => {
  hidden.add(byId("aside").querySelector("span").textContent);
  renderAside();
});
setInterval(watchPictures, 250);
window.addEventListener("resize", () => { if (!view.pictures) clear(canvas); });
renderSound();
render();

function takeState(state) {
  const before = view.state?.phase;
  view.state = state;
  view.connection = "open";
  if ("passage" in state) passages.show(state.passage);
  renderAside();
  if (state.phase !== before) {
    if (state.phase === "watching") {
      pictureAt = performance.now();
      warned = new Set();
      say("Watching.");
    } else {
      dropPicture("");
    }
  }
  // Not while a stop is on its way: its own answer says when all is kept.
  const done = state.phase === "stopped" || state.phase === "failed" ? state.session_id : null;
  if (done === null) hideSummary();
  else if (done !== view.summaryOf && view.turning === null) openSummary(done);
  render();
}

async function mark() {
  const { body, error } = await post("mark");
  if (error) return fail(error);
  if (body.marked_s === null) return;
  const words = `Marked ${clock(body.marked_s)}`;
  setText(byId("mark").querySelector(".button-label"), `✓ ${words}`);
  setData(byId("mark"), "done", "true");
  markedUntil = performance.now() + MARKED_MS;
  say(words);
  takeState(body);
}

async function turn(which) {
  if (view.turning !== null) return;
  view.turning = which;
  view.error = null;
  render();
  const { body, error } = await post(which);
  view.turning = null;
  if (error) fail(error);
  else takeState(body);
}

async function openSummary(sessionId) {
  view.summaryOf = sessionId;
  const { body, error } = await get(`sessions/${encodeURIComponent(sessionId)}/summary`);
  if (view.summaryOf !== sessionId) return;
  if (error) return fail(error);
  showSummary(byId("summary"), body, { limits: view.limits, fault: view.state.fault, onStart: () => turn("start"), sessionId });
  byId("watch").hidden = true;
  byId("summary").hidden = false;
  render();
  window.scrollTo(0, 0);
  byId("summary").querySelector("h1").focus();
}

function hideSummary() {
  view.summaryOf = null;
  if (byId("summary").hidden) return;
  byId("summary").hidden = true;
  byId("summary").replaceChildren();
  byId("watch").hidden = false;
}

function fail(sentence) {
  view.error = sentence;
  errorUntil = performance.now() + 6000;
  say(sentence);
  render();
}

/** Once per warning: a sound and a sentence for screen readers. The visible sentence keeps counting. */
function announceWarnings(warnings) {
  const keys = warnings.map((w) => [w.side, w.quantity, w.direction, w.since_s].join(" "));
  const fresh = warnings.filter((_, i) => !warned.has(keys[i]));
  if (fresh.length > 0) {
    sound.warn();
    say(fresh.map((warning) => warning.announcement).join(" "));
  } else if (warned.size > 0 && warnings.length === 0) {
    say("Eased.");
  }
  warned = new Set(keys);
}

function watchPictures() {
  const now = performance.now();
  if (view.pictures && now - pictureAt > STALE_MS) {
    dropPicture("No picture is coming.");
    render();
  } else if (view.state?.phase === "watching" && view.connection === "open" && now - pictureAt > STALE_MS) {
    for (const panel of [...panels, strip]) panel.blank("No picture is coming.");
    render();
  }
  if (markedUntil && now > markedUntil) {
    markedUntil = 0;
    setText(byId("mark").querySelector(".button-label"), "Mark this moment");
    setData(byId("mark"), "done", "false");
  }
  if (view.error && now > errorUntil) {
    view.error = null;
    render();
  }
}

function shapePicture(aspect) {
  const frame = canvas.parentElement;
  if (frame.style.getPropertyValue("--aspect") !== aspect) frame.style.setProperty("--aspect", aspect);
}

function dropPicture(why) {
  view.pictures = false;
  view.warnings = [];
  view.hands = {};
  for (const panel of [...panels, strip]) panel.blank(why);
  clear(canvas);
  setText(byId("facts"), "");
}

function render() {
  const { state, connection } = view;
  const phase = connection === "open" ? state.phase : connection;
  setData(document.body, "phase", phase);
  const { kind, text } = message(view);
  setData(byId("message"), "kind", kind);
  setText(document.querySelector(".message-text"), text);
  // Beside a summary the message's own place is hidden, and only what stands in the way is said.
  const aside = !byId("summary").hidden && (kind === "lost" || view.error !== null);
  byId("banner").hidden = !aside;
  setText(byId("banner"), aside ? text : "");
  const watching = phase === "watching";
  byId("mark").hidden = byId("stop").hidden = !watching;
  byId("start").hidden = watching || phase === "opening";
  byId("start").disabled = connection !== "open" || view.turning !== null;
  byId("stop").disabled = view.turning !== null;
  setText(byId("start").querySelector(".button-label"), state?.session_id ? "Start again" : "Start");
  byId("clock").hidden = !watching;
  setText(document.querySelector(".clock-time"), clock(state?.elapsed_s ?? 0));
  setText(byId("no-picture"), view.pictures ? "" : emptyPicture(phase));
}

function emptyPicture(phase) {
  if (phase === "watching") return "Waiting for a picture…";
  if (phase === "opening") return "Opening the camera…";
  return phase === "stopped" ? "Your mirrored picture appears here. It never leaves this machine." : "";
}

function facts(header) {
  const marks = view.state.marks;
  const parts = [`${Math.round(header.measured_fps)} pictures measured a second`];
  if (header.dropped > 0) parts.push(`${header.dropped} skipped`);
  if (marks > 0) parts.push(marks === 1 ? "1 mark" : `${marks} marks`);
  return `${parts.join(", ")}.`;
}

/** One quiet sentence at a time; a hidden one stays hidden until the page is opened again. */
function renderAside() {
  const [text = ""] = (view.state?.asides ?? []).filter((one) => !hidden.has(one));
  const span = byId("aside").querySelector("span");
  if (text && span.textContent !== text) say(text);
  setText(span, text);
  byId("aside").hidden = byId("aside").querySelector("button").hidden = text === "";
  byId("check").disabled = view.state?.phase === "watching" || view.state?.phase === "opening";
}

function renderSound() {
  byId("mute").setAttribute("aria-pressed", String(sound.muted));
  byId("sound-hint").hidden = sound.muted || sound.allowed;
}

let sayTurn = false;
function say(text) {
  // A trailing space makes the same words count as new.
  sayTurn = !sayTurn;
  byId("say").textContent = sayTurn ? text : `${text}\u00a0`;
}
