// Small helpers for building the page without markup in strings.

const SVG = "http://www.w3.org/2000/svg";

/** @typedef {Node | string | null | undefined} Child */

/**
 * An element with properties, attributes (as `attr`) and children (nodes or text).
 * @template {keyof HTMLElementTagNameMap} T
 * @param {T} tag
 * @param {Partial<HTMLElementTagNameMap[T]> & { attr?: Record<string, string> }} [options]
 * @param {...Child} children
 * @returns {HTMLElementTagNameMap[T]}
 */
export function element(tag, options = {}, ...children) {
  const { attr = {}, ...properties } = options;
  const node = Object.assign(document.createElement(tag), properties);
  for (const [name, value] of Object.entries(attr)) node.setAttribute(name, value);
  node.append(...children.filter((child) => child !== null && child !== undefined));
  return node;
}

/**
 * @template {keyof SVGElementTagNameMap} T
 * @param {T} tag
 * @param {Record<string, string | number>} [attr]
 * @param {...Node} children
 * @returns {SVGElementTagNameMap[T]}
 */
export function svg(tag, attr = {}, ...children) {
  const node = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attr)) node.setAttribute(name, String(value));
  node.append(...children);
  return node;
}

/**
 * The element of this id and kind; throws where the page has none.
 * @template {HTMLElement} T
 * @param {string} id
 * @param {new () => T} kind
 * @returns {T}
 */
export function byId(id, kind) {
  const node = document.getElementById(id);
  if (!(node instanceof kind)) throw new Error(`the page has no ${kind.name} #${id}`);
  return node;
}

/**
 * The first element that matches below a root, of this kind; throws where there is none.
 * @template {Element} T
 * @param {ParentNode} root
 * @param {string} selector
 * @param {new () => T} kind
 * @returns {T}
 */
export function within(root, selector, kind) {
  const node = root.querySelector(selector);
  if (!(node instanceof kind)) throw new Error(`nothing on the page is ${selector}`);
  return node;
}

/**
 * Sets text only where it differs, so that nothing is laid out again thirty times a second.
 * @param {Node} node
 * @param {string} text
 */
export function setText(node, text) {
  if (node.textContent !== text) node.textContent = text;
}

/**
 * @param {HTMLElement | SVGElement} node
 * @param {string} name
 * @param {string} value
 */
export function setData(node, name, value) {
  if (node.dataset[name] !== value) node.dataset[name] = value;
}

/**
 * @param {Event} event
 * @param {string} selector
 * @returns {Element | null} the nearest element around what the event is about
 */
export const around = (event, selector) => (event.target instanceof Element ? event.target.closest(selector) : null);
