// Draws the mirrored picture and what was measured on it. Only the drawing is mirrored, never the text.

/** @import { LiveHand, LiveHeader, Point, Quantity, Side } from "./api.d.ts" */

/** Pairs of the 21 hand landmarks: the palm's outline and the digits. @type {readonly (readonly [number, number])[]} */
const BONES = [
  [0, 1], [1, 2], [2, 3], [3, 4], [0, 5], [5, 6], [6, 7], [7, 8], [5, 9], [9, 10], [10, 11], [11, 12],
  [9, 13], [13, 14], [14, 15], [15, 16], [13, 17], [17, 18], [18, 19], [19, 20], [0, 17],
];
const WRIST = 0;
const MIDDLE_KNUCKLE = 9;

const HAND_COLOUR = "#8fe3ff";
const FOREARM_COLOUR = "#ffe08a";
const CASING = "rgba(8, 12, 16, 0.75)";

/**
 * Fits the canvas to its place on the screen; returns false where it has none.
 * @param {HTMLCanvasElement} canvas
 */
export function fit(canvas) {
  const ratio = Math.min(window.devicePixelRatio || 1, 2);
  const width = Math.round(canvas.clientWidth * ratio);
  const height = Math.round(canvas.clientHeight * ratio);
  if (canvas.width !== width || canvas.height !== height) Object.assign(canvas, { width, height });
  return width > 0 && height > 0;
}

/**
 * bitmap: the frame's picture, at any size. drawn: hands that are drawn on, where one of these quantities is measured.
 * @param {HTMLCanvasElement} canvas
 * @param {LiveHeader} header
 * @param {ImageBitmap} bitmap
 * @param {readonly Quantity[]} quantities
 * @param {readonly Side[]} drawn
 */
export function draw(canvas, header, bitmap, quantities, drawn) {
  const pen = fit(canvas) ? canvas.getContext("2d", { alpha: false }) : null;
  if (!pen) return;
  const scale = Math.min(canvas.width / header.width, canvas.height / header.height);
  const left = (canvas.width - header.width * scale) / 2;
  const top = (canvas.height - header.height * scale) / 2;
  pen.setTransform(1, 0, 0, 1, 0, 0);
  if (left > 0.5 || top > 0.5) pen.clearRect(0, 0, canvas.width, canvas.height);
  pen.setTransform(-scale, 0, 0, scale, canvas.width - left, top);
  pen.drawImage(bitmap, 0, 0, header.width, header.height);
  pen.setTransform(1, 0, 0, 1, 0, 0);
  const place = (/** @type {Point} */ [x, y]) => /** @type {Point} */ ([canvas.width - left - x * scale, top + y * scale]);
  const unit = Math.max(1, canvas.height / 430);
  for (const hand of header.hands) {
    if (drawn.includes(hand.side) && quantities.some(({ name }) => hand.quantities[name]?.refusal === null)) drawHand(pen, hand, place, unit);
  }
}

/** @param {HTMLCanvasElement} canvas */
export function clear(canvas) {
  const pen = fit(canvas) ? canvas.getContext("2d", { alpha: false }) : null;
  pen?.setTransform(1, 0, 0, 1, 0, 0);
  pen?.clearRect(0, 0, canvas.width, canvas.height);
}

/** @typedef {CanvasRenderingContext2D} Pen */

/**
 * @param {Pen} pen
 * @param {LiveHand} hand
 * @param {(point: Point) => Point} place
 * @param {number} unit
 */
function drawHand(pen, hand, place, unit) {
  if (hand.landmarks === null) return;
  const points = hand.landmarks.map((point) => (point === null ? null : place(point)));
  skeleton(pen, points, unit);
  const [wrist, knuckle] = [points[WRIST], points[MIDDLE_KNUCKLE]];
  if (!wrist || !knuckle) return;
  const [elbow, end] = (hand.forearm ?? []).map(place);
  if (elbow && end) line(pen, [elbow, end], 5.5 * unit, FOREARM_COLOUR, true);
  line(pen, [wrist, knuckle], 5.5 * unit, HAND_COLOUR, true);
  if (elbow && end) angle(pen, bendOf(elbow, end, wrist, knuckle), unit);
}

/** @typedef {{ onward: number, turn: number, wrist: Point, length: number }} Bend */

/**
 * The angle in the picture: where the forearm's line would go on to, and how far the hand's turns from it.
 * @param {Point} elbow
 * @param {Point} end
 * @param {Point} wrist
 * @param {Point} knuckle
 * @returns {Bend}
 */
function bendOf(elbow, end, wrist, knuckle) {
  const onward = Math.atan2(end[1] - elbow[1], end[0] - elbow[0]);
  const hand = Math.atan2(knuckle[1] - wrist[1], knuckle[0] - wrist[0]);
  const turn = Math.atan2(Math.sin(hand - onward), Math.cos(hand - onward));
  return { onward, turn, wrist, length: Math.hypot(knuckle[0] - wrist[0], knuckle[1] - wrist[1]) };
}

/**
 * @param {Pen} pen
 * @param {readonly (Point | null)[]} points
 * @param {number} unit
 */
function skeleton(pen, points, unit) {
  pen.lineCap = "round";
  pen.beginPath();
  for (const [a, b] of BONES) {
    const [from, to] = [points[a], points[b]];
    if (!from || !to) continue;
    pen.moveTo(...from);
    pen.lineTo(...to);
  }
  pen.strokeStyle = "rgba(8, 12, 16, 0.45)";
  pen.lineWidth = 3 * unit;
  pen.stroke();
  pen.strokeStyle = "rgba(255, 255, 255, 0.75)";
  pen.lineWidth = 1.3 * unit;
  pen.stroke();
}

/**
 * A strong line with a dark casing, so that it is seen on any ground.
 * @param {Pen} pen
 * @param {readonly [Point, Point]} ends
 * @param {number} width
 * @param {string} colour
 * @param {boolean} whole else it is broken
 */
function line(pen, [from, to], width, colour, whole) {
  pen.lineCap = "round";
  pen.setLineDash(whole ? [] : [width * 1.2, width * 2]);
  for (const [style, extra] of /** @type {const} */ ([[CASING, 0.7], [colour, 0]])) {
    pen.beginPath();
    pen.moveTo(...from);
    pen.lineTo(...to);
    pen.strokeStyle = style;
    pen.lineWidth = width * (1 + extra);
    pen.stroke();
  }
  pen.setLineDash([]);
}

/**
 * The forearm's line carried on past the wrist, and the arc from there to the hand's line.
 * @param {Pen} pen
 * @param {Bend} bend
 * @param {number} unit
 */
function angle(pen, { onward, turn, wrist, length }, unit) {
  const radius = 0.62 * length;
  line(pen, [wrist, [wrist[0] + 1.25 * radius * Math.cos(onward), wrist[1] + 1.25 * radius * Math.sin(onward)]], 2.2 * unit, FOREARM_COLOUR, false);
  pen.beginPath();
  pen.arc(wrist[0], wrist[1], radius, onward, onward + turn, turn < 0);
  pen.strokeStyle = CASING;
  pen.lineWidth = 5 * unit;
  pen.stroke();
  pen.strokeStyle = "#ffffff";
  pen.lineWidth = 2.5 * unit;
  pen.stroke();
}
