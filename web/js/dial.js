// An angle drawn on a small hand: the forearm, the hand bent by the angle, and its limits as arcs around the wrist.

import { setData, svg } from "./dom.js";
import { halfInterval, quantityOf } from "./terms.js";

/** @import { Side, SignedLimit } from "./api.d.ts" */

const [WIDTH, HEIGHT] = [124, 96];
/** The wrist, around which all turns. */
const [X, Y] = [52, 48];
const ARC = 42;
const SPREAD = 50;
const MARGIN = 1.3;
const LEAST_RANGE = 40;

/** What turns, drawn pointing to the right: from the side, palm downwards; and from the back, thumb downwards. */
const FROM_THE_SIDE = "M52 42 L74 43 L90 45 Q94 48 90 50 L70 54 L52 54 Z M66 53 L80 60";
const FROM_THE_BACK = "M52 40 L72 37 L74 59 L52 56 Z M72 39 L88 38 M73 45 L94 45 M73 51 L93 52 M73 57 L86 59 M58 57 L70 68";
/** @type {Record<string, string>} */
const HANDS = { flexion: FROM_THE_SIDE, ulnar: FROM_THE_BACK };
/** Of the left hand, as drawn; a right hand is its mirror image. */
const THUMB_DOWN = new Set(["ulnar"]);

export class Dial {
  #hand = svg("g", { class: "dial-hand" });
  #spread = svg("path", { class: "dial-spread" });
  #range;
  #turn;

  /**
   * @param {string} name of the quantity
   * @param {Side} side
   * @param {readonly Pick<SignedLimit, "level" | "value">[]} limits
   */
  constructor(name, side, limits) {
    const { positive } = quantityOf(name);
    this.#range = Math.min(88, MARGIN * Math.max(LEAST_RANGE, ...limits.map((one) => Math.abs(one.value))));
    // Downwards on the screen is the palm's side; towards the little finger, with the thumb below, is upwards.
    this.#turn = THUMB_DOWN.has(positive) && side === "left" ? -1 : 1;
    const mirrored = THUMB_DOWN.has(positive) && side === "right";
    this.#hand.append(svg("path", { d: HANDS[positive] ?? FROM_THE_SIDE, transform: mirrored ? `translate(0 ${2 * Y}) scale(1 -1)` : "" }));
    const edge = (/** @type {number} */ sign, /** @type {string} */ level) => limits.find((one) => one.level === level && Math.sign(one.value) === sign)?.value;
    const sides = [-1, 1].map((sign) => ({ comfort: edge(sign, "comfort") ?? edge(sign, "extreme") ?? sign * this.#range, extreme: edge(sign, "extreme") }));
    const [low, high] = /** @type {[typeof sides[0], typeof sides[0]]} */ (sides);
    this.node = svg("svg", { class: "dial", viewBox: `0 0 ${WIDTH} ${HEIGHT}`, "aria-hidden": "true" },
      svg("path", { class: "dial-track", d: this.#arc(ARC, -this.#range, this.#range) }),
      svg("path", { class: "dial-comfort", d: this.#arc(ARC, low?.comfort ?? 0, high?.comfort ?? 0) }),
      ...sides.flatMap(({ extreme }) => (extreme === undefined ? [] : [svg("path", { class: "dial-limit", d: this.#ray(ARC - 7, ARC + 8, extreme) })])),
      svg("path", { class: "dial-arm", d: `M4 ${Y - 8} L${X} ${Y - 6} M4 ${Y + 8} L${X} ${Y + 6}` }),
      svg("path", { class: "dial-straight", d: `M${X} ${Y} H${X + ARC}` }), this.#hand, this.#spread);
    this.move(null, null);
  }

  /**
   * @param {number | null} value in degrees, signed
   * @param {number | null} sd
   */
  move(value, sd) {
    setData(this.node, "known", String(value !== null));
    if (value === null) return;
    const shown = Math.max(-this.#range, Math.min(this.#range, value));
    this.#hand.setAttribute("transform", `rotate(${(this.#turn * shown).toFixed(1)} ${X} ${Y})`);
    const half = halfInterval(sd);
    const [from, to] = [value - half, value + half].map((one) => Math.max(-this.#range, Math.min(this.#range, one)));
    this.#spread.setAttribute("d", `${this.#arc(SPREAD, from ?? shown, to ?? shown)} ${this.#ray(ARC - 4, SPREAD + 4, shown)}`);
  }

  /**
   * @param {number} radius
   * @param {number} angle in degrees
   */
  #at(radius, angle) {
    const turned = (this.#turn * angle * Math.PI) / 180;
    return `${(X + radius * Math.cos(turned)).toFixed(1)} ${(Y + radius * Math.sin(turned)).toFixed(1)}`;
  }

  /**
   * @param {number} radius
   * @param {number} from
   * @param {number} to
   */
  #arc(radius, from, to) {
    return `M${this.#at(radius, from)} A${radius} ${radius} 0 0 ${this.#turn > 0 ? 1 : 0} ${this.#at(radius, to)}`;
  }

  /**
   * @param {number} inner
   * @param {number} outer
   * @param {number} angle
   */
  #ray(inner, outer, angle) {
    return `M${this.#at(inner, angle)} L${this.#at(outer, angle)}`;
  }
}
