// The one place for messages: which of the things to say matters most now.

import { SIDE_LABEL, sentenceCase } from "./words.js";

const PULL_UP = "Press Start, or Page Up.";

/**
 * view: { connection, state, warnings, hands (the state shown of each side), pictures (true while they come),
 * turning ("start" or "stop" while one is under way), error }. Returns { kind, text } with kind "calm", "warning", "notice" or "lost".
 */
export function message(view) {
  const { connection, state } = view;
  if (connection === "joining") return calm("Joining posturewatch…");
  if (connection === "lost") {
    return { kind: "lost", text: "Connection to posturewatch lost; trying again. If it was closed, start it again: what was recorded is kept." };
  }
  if (view.error) return notice(view.error);
  if (view.turning === "stop") return calm("Stopping; keeping what was recorded…");
  if (state.phase === "opening" || view.turning === "start") return calm("Opening the camera…");
  if (state.phase === "failed") return notice(`${state.fault ?? "The session failed."} ${PULL_UP}`);
  if (state.phase !== "watching") return calm(`Ready. ${PULL_UP}`);
  if (view.warnings.length > 0) return { kind: "warning", text: view.warnings.map((w) => w.sentence).join(" ") };
  if (state.fault) return notice(state.fault);
  if (state.notice) return notice(state.notice);
  if (!view.pictures) return notice("No picture is coming from the camera. Check that it is plugged in and not covered.");
  return calm(quiet(view.hands));
}

function quiet(hands) {
  const unseen = Object.keys(hands).filter((side) => hands[side] === "unseen");
  if (unseen.length === 2) return "Neither hand can be measured now.";
  const held = Object.values(hands).includes("extreme") ? "extreme wrist angle, not held so far." : "no extreme wrist angle held.";
  if (unseen.length === 0) return sentenceCase(held);
  const other = unseen[0] === "left" ? "right" : "left";
  return `${SIDE_LABEL[other]}: ${held} ${SIDE_LABEL[unseen[0]]}: not measurable now.`;
}

const calm = (text) => ({ kind: "calm", text });
const notice = (text) => ({ kind: "notice", text });
