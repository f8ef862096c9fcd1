// What the steps are made of.

import { element } from "../dom.js";
import { language } from "../language.js";
import { once } from "../once.js";

/** @import { Child } from "../dom.js" */
/** @import { Words } from "./api.d.ts" */

/** @param {Words} said */
export const told = (said) => (language === "de" ? said.de : said.en);

/**
 * A numbered step.
 * @param {number} number
 * @param {string} title
 * @param {...Child} children
 */
export function step(number, title, ...children) {
  return element("section", { className: "step" },
    element("h2", {}, element("span", { className: "number", attr: { "aria-hidden": "true" } }, String(number)), title), ...children);
}

/**
 * A numbered step that can be left out: closed at first.
 * @param {number} number
 * @param {string} title
 * @param {string} about what is in it
 * @param {{ open: boolean }} fold whether it is open, kept while the page is
 * @param {...Child} children
 */
export function optionalStep(number, title, about, fold, ...children) {
  const details = element("details", { className: "step fold", open: fold.open, ontoggle: () => { fold.open = details.open; } },
    element("summary", {}, element("span", { className: "number", attr: { "aria-hidden": "true" } }, String(number)), element("b", {}, title), element("span", { className: "hint" }, about)), ...children);
  return details;
}

/**
 * @param {string} label
 * @param {() => unknown} onclick
 * @param {string} [className]
 */
export const button = (label, onclick, className = "") => element("button", { type: "button", className: `small-button ${className}`.trim(), onclick: once(onclick) }, label);

/**
 * One of several, shown as pictures.
 * @param {string} legend
 * @param {string} name
 * @param {readonly { value: string, label: string, about?: string, picture?: Node }[]} options
 * @param {string} value
 * @param {(value: string) => void} onChange
 * @param {string} [className]
 */
export function tiles(legend, name, options, value, onChange, className = "") {
  return element("fieldset", { className: `tiles ${className}`.trim() }, element("legend", { className: "spoken" }, legend),
    ...options.map((one) => element("label", { className: "tile" },
      element("input", { type: "radio", name, value: one.value, checked: one.value === value, onchange: () => onChange(one.value) }),
      one.picture ?? null, element("span", {}, one.label), one.about ? element("small", {}, one.about) : null)));
}

/**
 * @param {string} label
 * @param {readonly [string, string][]} options value and words
 * @param {string} value
 * @param {(value: string) => void} onChange
 */
export function select(label, options, value, onChange) {
  const known = options.some(([one]) => one === value);
  const list = element("select", { onchange: () => onChange(list.value) },
    ...(known ? [] : [element("option", { value }, value)]), ...options.map(([one, said]) => element("option", { value: one }, said)));
  list.value = value;
  return element("label", { className: "field" }, element("span", {}, label), list);
}

/**
 * @param {string} label
 * @param {boolean} checked
 * @param {(on: boolean) => void} onChange
 */
export function check(label, checked, onChange) {
  const box = element("input", { type: "checkbox", checked, onchange: () => onChange(box.checked) });
  return element("label", { className: "check" }, box, element("span", {}, label));
}
