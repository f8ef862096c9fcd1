// Draws the mirrored picture and what was measured on it. Only the drawing is mirrored, never the text.

import { sizeAndDirection, stateOfZone, worst } from "./words.js";

/** Pairs of the 21 hand landmarks: the palm's outline and the digits. */
const BONES = [
  [0, 1], [1, 2], [2, 3], [3, 4], [0, 5], [5, 6], [6, 7], [7, 8], [5, 9], [9, 10], [10, 11], [11, 12],
  [9, 13], [13, 14], [14, 15], [15, 16], [13, 17], [17, 18], [18, 19], [19, 20], [0, 17],
];
const WRIST = 0;
const MIDDLE_KNUCKLE = 9;

const HAND_COLOUR = "#8fe3ff";
const FOREARM_COLOUR = "#ffe08a";
const CASING = "rgba(8, 12, 16, 0.75)";

/** Fits the canvas to its place on the screen; returns false where it has none. */
export function fit(canvas) {
  const ratio = Math.min(window.devicePixelRatio || 1, 2);
  const width = Math.round(canvas.clientWidth * ratio);
  const height = Math.round(canvas.clientHeight * ratio);
  if (canvas.width !== width || canvas.height !== height) Object.assign(canvas, { width, height });
  return width > 0 && height > 0;
}

/** header: one frame's (see posturewatch/live_message.py); bitmap: that frame's picture, at any size. */
export function draw(canvas, header, bitmap, quantities) {
  if (!fit(canvas)) return;
  const pen = canvas.getContext("2d", { alpha: false });
  const scale = Math.min(canvas.width / header.width, canvas.height / header.height);
  const left = (canvas.width - header.width * scale) / 2;
  const top = (canvas.height - header.height * scale) / 2;
  pen.setTransform(1, 0, 0, 1, 0, 0);
  if (left > 0.5 || top > 0.5) pen.clearRect(0, 0, canvas.width, canvas.height);
  pen.setTransform(-scale, 0, 0, scale, canvas.width - left, top);
  pen.drawImage(bitmap, 0, 0, header.width, header.height);
  pen.setTransform(1, 0, 0, 1, 0, 0);
  const place = ([x, y]) => [canvas.width - left - x * scale, top + y * scale];
  const unit = Math.max(1, canvas.height / 430);
  for (const hand of header.hands) drawHand(pen, hand, place, unit, quantities);
}

export function clear(canvas) {
  if (!fit(canvas)) return;
  const pen = canvas.getContext("2d", { alpha: false });
  pen.setTransform(1, 0, 0, 1, 0, 0);
  pen.clearRect(0, 0, canvas.width, canvas.height);
}

function drawHand(pen, hand, place, unit, quantities) {
  if (hand.landmarks === null) return;
  const points = hand.landmarks.map((point) => (point === null ? null : place(point)));
  skeleton(pen, points, unit);
  const [wrist, knuckle] = [points[WRIST], points[MIDDLE_KNUCKLE]];
  if (wrist === null || knuckle === null) return;
  const measured = worst(quantities.map(({ name }) => stateOfZone(hand.quantities[name].zone))) !== "unseen";
  const forearm = hand.forearm === null ? null : hand.forearm.map(place);
  if (forearm !== null) line(pen, forearm, 5.5 * unit, FOREARM_COLOUR, measured);
  line(pen, [wrist, knuckle], 5.5 * unit, HAND_COLOUR, measured);
  if (forearm === null || !measured) return;
  const bend = bendOf(forearm, wrist, knuckle);
  angle(pen, bend, unit);
  number(pen, hand, bend, unit, quantities);
}

/** The angle in the picture: where the forearm's line would go on to, and how far the hand's turns from it. */
function bendOf([elbow, end], wrist, knuckle) {
  const onward = Math.atan2(end[1] - elbow[1], end[0] - elbow[0]);
  const hand = Math.atan2(knuckle[1] - wrist[1], knuckle[0] - wrist[0]);
  const turn = Math.atan2(Math.sin(hand - onward), Math.cos(hand - onward));
  return { onward, turn, wrist, length: Math.hypot(knuckle[0] - wrist[0], knuckle[1] - wrist[1]) };
}

function skeleton(pen, points, unit) {
  pen.lineCap = "round";
  pen.beginPath();
  for (const [a, b] of BONES) {
    if (points[a] === null || points[b] === null) continue;
    pen.moveTo(...points[a]);
    pen.lineTo(...points[b]);
  }
  pen.strokeStyle = "rgba(8, 12, 16, 0.45)";
  pen.lineWidth = 3 * unit;
  pen.stroke();
  pen.strokeStyle = "rgba(255, 255, 255, 0.75)";
  pen.lineWidth = 1.3 * unit;
  pen.stroke();
}

/** A strong line with a dark casing, so that it is seen on any ground; broken where nothing is measured. */
function line(pen, [from, to], width, colour, whole) {
  pen.lineCap = "round";
  pen.setLineDash(whole ? [] : [width * 1.2, width * 2]);
  for (const [style, extra] of [[CASING, width * 0.7], [colour, 0]]) {
    pen.beginPath();
    pen.moveTo(...from);
    pen.lineTo(...to);
    pen.strokeStyle = style;
    pen.lineWidth = width + extra;
    pen.stroke();
  }
  pen.setLineDash([]);
}

/** The forearm's line carried on past the wrist, and the arc from there to the hand's line. */
function angle(pen, { onward, turn, wrist, length }, unit) {
  const radius = 0.62 * length;
  const reach = [wrist[0] + 1.25 * radius * Math.cos(onward), wrist[1] + 1.25 * radius * Math.sin(onward)];
  line(pen, [wrist, reach], 2.2 * unit, FOREARM_COLOUR, false);
  pen.beginPath();
  pen.arc(...wrist, radius, onward, onward + turn, turn < 0);
  pen.strokeStyle = CASING;
  pen.lineWidth = 5 * unit;
  pen.stroke();
  pen.strokeStyle = "#ffffff";
  pen.lineWidth = 2.5 * unit;
  pen.stroke();
}

/** The number that matters most now, beside the wrist, on the side from which the hand bends away. */
function number(pen, hand, points, unit, quantities) {
  const shown = quantities.filter((quantity) => (hand.quantities[quantity.name]?.display ?? null) !== null);
  if (shown.length === 0) return;
  const state = (quantity) => stateOfZone(hand.quantities[quantity.name].zone);
  const first = worst(shown.map(state));
  const chosen = shown.find((quantity) => state(quantity) === first);
  const { size } = sizeAndDirection(chosen, hand.quantities[chosen.name].display);
  const { onward, turn, wrist, length } = points;
  const away = onward - Math.sign(turn || 1) * (Math.PI / 2);
  const margin = 30 * unit;
  const x = within(wrist[0] + 0.55 * length * Math.cos(away), margin, pen.canvas.width - margin);
  const y = within(wrist[1] + 0.55 * length * Math.sin(away), margin, pen.canvas.height - margin);
  pen.font = `700 ${Math.round(25 * unit)}px system-ui, "Liberation Sans", Arial, sans-serif`;
  pen.textAlign = "center";
  pen.textBaseline = "middle";
  pen.lineJoin = "round";
  pen.lineWidth = 6 * unit;
  pen.strokeStyle = CASING;
  pen.strokeText(size, x, y);
  pen.fillStyle = "#ffffff";
  pen.fillText(size, x, y);
}

const within = (value, low, high) => Math.max(low, Math.min(high, value));
