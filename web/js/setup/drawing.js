// Drawings made from an instrument's profile: its sign, and where a camera stands, seen from above.

import { svg } from "../dom.js";
import { words } from "../language.js";

/** @import { CameraPlace, Choices, Instrument } from "./api.d.ts" */

const STROKE = { fill: "none", stroke: "currentColor", "stroke-width": 4, "stroke-linecap": "round", "stroke-linejoin": "round" };

const path = (/** @type {string} */ d, /** @type {Record<string, string | number>} */ more = {}) => svg("path", { d, ...STROKE, ...more });

/**
 * A sign by what the profile tells: keys, a bow, a neck that points up or aside.
 * @param {Instrument} instrument
 */
export function instrumentSign(instrument) {
  const bowed = instrument.hands.right.role === "bowing" || instrument.hands.left.role === "bowing";
  /** @type {SVGElement[]} */
  const shapes = [];
  if (instrument.keyboard) {
    shapes.push(path("M10 36 H90 V66 H10 Z M26 36 V66 M42 36 V66 M58 36 V66 M74 36 V66"), path("M26 36 V52 M42 36 V52 M74 36 V52", { "stroke-width": 8, "stroke-linecap": "butt" }));
  } else if (bowed) {
    const upright = instrument.neck_deg === null;
    const body = svg("g", upright ? { transform: "rotate(-78 50 50)" } : { transform: "rotate(-25 50 50)" },
      path("M12 50 C12 36 28 34 34 42 C38 46 42 46 46 42 C52 36 60 40 60 50 C60 60 52 64 46 58 C42 54 38 54 34 58 C28 66 12 64 12 50 Z"), path("M48 50 H90"));
    shapes.push(body, path(upright ? "M8 62 L92 44" : "M44 92 L70 16", { "stroke-width": 3 }));
  } else {
    shapes.push(svg("g", { transform: "rotate(-20 50 50)" },
      path("M10 54 C10 40 24 36 32 44 C36 48 40 46 44 44 C50 42 54 46 54 54 C54 62 50 66 44 64 C40 62 36 60 32 64 C24 72 10 68 10 54 Z"),
      path("M54 54 H86 M86 48 V60 H94 V48 Z"), svg("circle", { cx: 36, cy: 54, r: 4, ...STROKE })));
  }
  return svg("svg", { viewBox: "0 0 100 100", "aria-hidden": "true" }, ...shapes);
}

/**
 * Seen from above, the player below looking up the page; the player's left is on the left, as in the mirrored picture.
 * @param {Instrument} instrument
 * @param {CameraPlace} place
 * @param {Choices["handedness"]} handedness
 * @param {number | null} nowDeg where the camera seems to stand now, towards the player's left; null where unknown
 */
export function placeDrawing(instrument, place, handedness, nowDeg = null) {
  const turn = handedness === "left" && !instrument.keyboard ? -1 : 1;
  const at = (/** @type {number} */ deg, /** @type {number} */ far) => /** @type {const} */ ([100 - far * Math.sin((deg * Math.PI) / 180), 150 - far * Math.cos((deg * Math.PI) / 180)]);
  const far = 70 + 40 * Math.min(1, place.distance_m / 1.5);
  const wantedDeg = turn * place.towards_left_deg;
  /** @type {SVGElement[]} */
  const shapes = [
    svg("path", { d: "M58 158 C58 140 78 136 100 136 C122 136 142 140 142 158 Z", fill: "currentColor", opacity: 0.25 }),
    svg("circle", { cx: 100, cy: 146, r: 13, fill: "currentColor", opacity: 0.65 }),
    label(100, 178, words.setup.camera.you),
  ];
  if (instrument.keyboard) shapes.push(svg("rect", { x: 50, y: 112, width: 100, height: 16, rx: 3, ...STROKE, "stroke-width": 3 }));
  else shapes.push(...neck(instrument.neck_deg, turn, at));
  if (nowDeg !== null) shapes.push(camera(at(nowDeg, far), nowDeg, 0.3), arrow(at, nowDeg, wantedDeg, far));
  shapes.push(camera(at(wantedDeg, far), wantedDeg, 1));
  return svg("svg", { viewBox: "0 0 200 186", role: "img", "aria-label": words.setup.camera.drawing }, ...shapes);
}

/**
 * @param {number | null} deg
 * @param {number} turn
 * @param {(deg: number, far: number) => readonly [number, number]} at
 */
function neck(deg, turn, at) {
  const [x0, y0] = at(turn * -40, 24);
  if (deg === null) return [svg("circle", { cx: 100, cy: 122, r: 15, ...STROKE, "stroke-width": 3 }), svg("circle", { cx: 100, cy: 122, r: 4, fill: "currentColor" })];
  const [x1, y1] = at(turn * deg, 74);
  return [svg("path", { d: `M${x0} ${y0} L${x1} ${y1}`, ...STROKE, "stroke-width": 5 }), svg("circle", { cx: x0, cy: y0, r: 15, ...STROKE, "stroke-width": 3 })];
}

/**
 * @param {readonly [number, number]} where
 * @param {number} deg
 * @param {number} opacity
 */
function camera([x, y], deg, opacity) {
  return svg("g", { transform: `translate(${x} ${y}) rotate(${-deg})`, opacity },
    svg("path", { d: "M0 12 L-26 64 H26 Z", fill: "var(--focus)", opacity: 0.16 }), svg("rect", { x: -13, y: -9, width: 26, height: 17, rx: 4, fill: "var(--focus)" }),
    svg("circle", { cx: 0, cy: 9, r: 6, fill: "var(--focus)" }));
}

/**
 * @param {(deg: number, far: number) => readonly [number, number]} at
 * @param {number} from
 * @param {number} to
 * @param {number} far
 */
function arrow(at, from, to, far) {
  const [[x0, y0], [x1, y1]] = [at(from + Math.sign(to - from) * 8, far), at(to - Math.sign(to - from) * 9, far)];
  return svg("path", { d: `M${x0} ${y0} A${far} ${far} 0 0 ${to > from ? 0 : 1} ${x1} ${y1}`, ...STROKE, stroke: "var(--focus)", "stroke-dasharray": "6 7" });
}

/**
 * @param {number} x
 * @param {number} y
 * @param {string} text
 */
function label(x, y, text) {
  const node = svg("text", { x, y, "text-anchor": "middle", "font-size": 14, fill: "currentColor" });
  node.textContent = text;
  return node;
}
