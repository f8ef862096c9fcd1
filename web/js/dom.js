// Small helpers for building the page without markup in strings.

const SVG = "http://www.w3.org/2000/svg";

/** An element with properties, attributes (as `attr`) and children (nodes or text). */
export function element(tag, { attr = {}, ...properties } = {}, ...children) {
  const node = Object.assign(document.createElement(tag), properties);
  for (const [name, value] of Object.entries(attr)) node.setAttribute(name, value);
  node.append(...children.filter((child) => child !== null && child !== undefined));
  return node;
}

export function svg(tag, attr = {}, ...children) {
  const node = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attr)) node.setAttribute(name, value);
  node.append(...children);
  return node;
}

/** Sets text only where it differs, so that nothing is laid out again thirty times a second. */
export function setText(node, text) {
  if (node.textContent !== text) node.textContent = text;
}

export function setData(node, name, value) {
  if (node.dataset[name] !== value) node.dataset[name] = value;
}
