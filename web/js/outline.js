// A hand with its forearm, drawn in regions that can be chosen: from the palm's side and from the back.

import { element, svg } from "./dom.js";
import { words } from "./language.js";

/** @import { Side } from "./api.d.ts" */
/** @typedef {"rect" | "path" | "ellipse"} Shape */
/** @typedef {readonly [string, Shape, Record<string, string | number>]} Region its name, shape and attributes */

/** @type {readonly Region[]} */
const FINGERS = [
  ["thumb", "rect", { x: 25, y: 86, width: 16, height: 62, rx: 8, transform: "rotate(-30 41 148)" }],
  ["index finger", "rect", { x: 35, y: 24, width: 15, height: 66, rx: 7 }],
  ["middle finger", "rect", { x: 53, y: 12, width: 15, height: 78, rx: 7 }],
  ["ring finger", "rect", { x: 71, y: 20, width: 15, height: 70, rx: 7 }],
  ["little finger", "rect", { x: 89, y: 42, width: 13, height: 50, rx: 6 }],
];
const HAND = "M35 88 H103 V122 Q103 148 90 157 H48 Q36 148 33 120 Z";
/** @type {readonly Region[]} */
const SIDES_OF_WRIST = [
  ["thumb side of the wrist", "rect", { x: 42, y: 159, width: 13, height: 28, rx: 4 }],
  ["little finger side of the wrist", "rect", { x: 85, y: 159, width: 13, height: 28, rx: 4 }],
];
const FOREARM = "M42 189 H98 L106 272 H34 Z";
/** @type {Record<"palm" | "back", readonly Region[]>} */
const VIEWS = {
  palm: [...FINGERS, ["palm", "path", { d: HAND }], ["palm side of the wrist", "rect", { x: 56, y: 159, width: 28, height: 28, rx: 4 }],
    ...SIDES_OF_WRIST, ["inside of the forearm", "path", { d: FOREARM }]],
  back: [...FINGERS, ["back of the hand", "path", { d: HAND }], ["back of the wrist", "rect", { x: 56, y: 159, width: 28, height: 28, rx: 4 }],
    ...SIDES_OF_WRIST, ["outside of the forearm", "path", { d: FOREARM }], ["elbow", "ellipse", { cx: 70, cy: 284, rx: 33, ry: 12 }]],
};

/**
 * Outlines of both arms. places: as the form has them; chosen: is kept up to date.
 * @param {readonly Side[]} sides
 * @param {readonly { name: string, label: string }[]} places
 * @param {Set<string>} chosen
 * @param {() => void} onChange
 */
export function outlines(sides, places, chosen, onChange) {
  const labels = new Map(places.map((one) => [one.name, words.terms.places[one.name] ?? one.label]));
  /** @type {{ name: string, node: Element }[]} */
  const regions = [];
  const toggle = (/** @type {string} */ name) => {
    if (chosen.has(name)) chosen.delete(name);
    else chosen.add(name);
    for (const one of regions) one.node.setAttribute("aria-checked", String(chosen.has(one.name)));
    onChange();
  };
  const figures = sides.flatMap((side) => /** @type {const} */ (["palm", "back"]).map((view) => {
    // Drawn with the thumb on the left: a left palm or the back of a right hand, as their owner sees them.
    const mirrored = (side === "left") !== (view === "palm");
    const group = svg("g", mirrored ? { transform: "translate(140 0) scale(-1 1)" } : {});
    for (const [place, shape, attributes] of VIEWS[view]) {
      const label = labels.get(place);
      if (label === undefined) continue;
      const name = `${side} ${place}`;
      const told = words.check.place(side, label);
      /** @type {SVGElement} */
      const node = svg(shape, { ...attributes, class: "region", role: "checkbox", tabindex: 0, "aria-checked": String(chosen.has(name)),
        "aria-label": told }, svg("title", {}, document.createTextNode(told)));
      node.addEventListener("click", () => toggle(name));
      node.addEventListener("keydown", (event) => {
        if (event.key !== " " && event.key !== "Enter") return;
        event.preventDefault();
        toggle(name);
      });
      regions.push({ name, node });
      group.append(node);
    }
    return element("figure", {}, svg("svg", { viewBox: "-14 4 168 296" }, group),
      element("figcaption", {}, words.check.views[view](side)));
  }));
  return element("div", { className: "outlines" }, ...figures);
}
