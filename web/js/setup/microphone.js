// Which microphone gives clips their sound: those that there are, by name, or none.

import { element } from "../dom.js";
import { words } from "../language.js";
import { translated } from "../translated.js";
import { button, select } from "./parts.js";

/** @import { Choose, Microphones } from "./api.d.ts" */

/** Stands for the system's own one, where no name was chosen and none is known. */
const USUAL = "\u0000usual";

/**
 * @param {Microphones | null} found null while they are looked for
 * @param {string | null} chosen "" for none, null for the system's own
 * @param {Choose} choose
 * @param {() => unknown} look
 */
export function microphoneField(found, chosen, choose, look) {
  const text = words.setup.camera;
  const list = found?.microphones ?? [];
  const value = chosen ?? list.find((one) => one.usual)?.name ?? USUAL;
  /** @type {[string, string][]} */
  const options = [["", text.noMicrophone], ...list.map((one) => /** @type {[string, string]} */ ([one.name, one.usual ? text.usualMicrophone(one.name) : one.name]))];
  if (value === USUAL) options.push([USUAL, text.someMicrophone]);
  else if (!options.some(([name]) => name === value)) options.push([value, found ? text.goneMicrophone(value) : value]);
  const none = found !== null && list.length === 0;
  return element("div", {}, select(text.microphone, options, value, (microphone) => (microphone === USUAL ? null : choose({ microphone }))),
    element("p", { className: "hint" }, none ? `${found.fault ? translated(found.fault) : text.noMicrophones} ` : text.microphoneAbout), none ? button(text.lookMicrophones, look) : null);
}
