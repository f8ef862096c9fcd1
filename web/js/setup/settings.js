// The settings page: every setting of the file with its value, unit, bounds and help. A change is kept at once.

import { get, send } from "../actions.js";
import { byId, element, setText, within } from "../dom.js";
import { decimal } from "../format.js";
import { fillWords, words } from "../language.js";
import { fail, say } from "../log/parts.js";
import { button, told as inLanguage } from "./parts.js";

/** @import { Answer } from "../api.d.ts" */
/** @import { SettingEntry, SettingsForm, SettingValue } from "./api.d.ts" */

/** Sections that most players want, open and above the others, which are folded. */
const FIRST = ["page", "instrument", "camera", "player"];

/** What each row shows, by section and key. @type {Map<string, { node: HTMLElement, shows: string }>} */
const rows = new Map();
/** Changes so far, and the newest whose answer is shown: what an earlier one answers later is no longer so. */
const changes = { begun: 0, shown: 0 };

fillWords(document);
document.title = `${words.setup.settings} · posturewatch`;
load();

async function load() {
  /** @type {Answer<SettingsForm>} */
  const { body, error } = await get("settings");
  if (body) show(body);
  else fail(error ?? "");
}

/** @param {SettingsForm} form */
function show(form) {
  const text = words.setup.form;
  setText(byId("file", HTMLElement), text.file(form.file));
  byId("running", HTMLElement).hidden = !form.running;
  rows.clear();
  const sections = [...FIRST.flatMap((name) => form.sections.filter((one) => one.name === name)), ...form.sections.filter((one) => !FIRST.includes(one.name))];
  byId("sections", HTMLElement).replaceChildren(...sections.map(({ name, settings }) => element("details", { className: "step", open: FIRST.includes(name) },
    element("summary", {}, element("h2", {}, /** @type {Record<string, string>} */ (text.sections)[name] ?? name)), ...settings.map((one) => kept(name, one)))));
}

/**
 * A row that is known from now on.
 * @param {string} section
 * @param {SettingEntry} one
 */
function kept(section, one) {
  const node = row(section, one);
  rows.set(`${section}.${one.key}`, { node, shows: JSON.stringify(one) });
  return node;
}

/**
 * Shows what a change has changed; every other row stays as it is, with what is being typed in it.
 * @param {SettingsForm} form
 * @param {string} changed
 */
function refresh(form, changed) {
  byId("running", HTMLElement).hidden = !form.running;
  for (const { name, settings } of form.sections) {
    for (const one of settings) {
      const path = `${name}.${one.key}`;
      const old = rows.get(path);
      if (old && (path === changed || old.shows !== JSON.stringify(one))) old.node.replaceWith(kept(name, one));
    }
  }
}

/**
 * What became of a change, beside its field.
 * @param {string} path
 * @param {string} sentence
 * @param {boolean} refused
 */
function tell(path, sentence, refused) {
  const node = rows.get(path)?.node;
  const told = node?.querySelector(".told");
  if (!node || !told) return;
  told.textContent = sentence;
  told.classList.toggle("fault", refused);
  for (const one of node.querySelectorAll("input, select")) one.setAttribute("aria-invalid", String(refused));
}

/**
 * What a setting is called: by the catalogue, a limit of the player's own by its parts.
 * @param {string} section
 * @param {string} key
 */
function label(section, key) {
  const text = words.setup.form;
  const named = /** @type {Record<string, string>} */ (text.labels)[`${section}.${key}`];
  if (named) return named;
  /** @type {Record<string, string>} */
  const parts = { ...text.words, ...words.levels };
  return key.split("_").slice(0, -1).map((one) => parts[one] ?? one).join(" ");
}

/**
 * @param {string} section
 * @param {SettingEntry} one
 */
function row(section, one) {
  const text = words.setup.form;
  const name = label(section, one.key);
  const path = `${section}.${one.key}`;
  const keep = async (/** @type {SettingValue} */ value) => {
    byId("banner", HTMLElement).hidden = true;
    const mine = (changes.begun += 1);
    /** @type {Answer<SettingsForm>} */
    const { body, error } = await send("PATCH", "settings", { section, key: one.key, value });
    if (!body) {
      const sentence = (error ?? "").replaceAll(path, name);
      fail(sentence);
      return tell(path, sentence, true);
    }
    if (section === "page" && one.key === "language") return location.reload();
    const focused = rows.get(path)?.node.contains(document.activeElement);
    if (mine > changes.shown) refresh(body, path);
    changes.shown = Math.max(mine, changes.shown);
    if (focused) within(document, `[data-setting="${path}"] :is(input, select)`, HTMLElement).focus({ preventScroll: true });
    say(text.kept(name));
    return tell(path, `✓ ${text.kept(name)}`, false);
  };
  const unit = one.unit === null || one.unit === "°" ? one.unit ?? "" : `\u00a0${one.unit}`;
  const changed = JSON.stringify(one.value) !== JSON.stringify(one.default);
  return element("div", { className: "setting", attr: { "data-setting": path } }, element("span", { className: "name" }, name),
    element("span", { className: "value" }, field(section, one, name, `told-${path}`, keep), one.unit ?? "", changed ? button(text.backTo(shown(section, one)), () => keep(null)) : null),
    element("p", { className: "told", id: `told-${path}` }),
    element("p", { className: "hint" }, `${help(section, one)}. ${one.low !== null && one.high !== null ? `${text.from(decimal(one.low), decimal(one.high))}${unit}.` : ""}`,
      one.source ? ` ${text.source} ${one.source}.` : ""));
}

/**
 * What a setting does: in English by the program, else by the catalogue.
 * @param {string} section
 * @param {SettingEntry} one
 */
const help = (section, one) => words.terms.settings[`${section}.${one.key}`] ?? words.terms.settings[section] ?? one.help;

/**
 * What one of several is called: by the instrument's own file, by the catalogue, else as in the file.
 * @param {string} section
 * @param {SettingEntry} one
 * @param {string} choice
 */
function called(section, one, choice) {
  const named = one.labels?.[choice];
  if (named) return inLanguage(named);
  const known = /** @type {Record<string, Record<string, string>>} */ (words.setup.form.choices)[`${section}.${one.key}`];
  return known?.[choice] ?? choice;
}

/**
 * The default in words.
 * @param {string} section
 * @param {SettingEntry} one
 */
function shown(section, one) {
  const value = one.default;
  if (one.kind === "choice") return called(section, one, String(value));
  return one.kind === "choices" && Array.isArray(value) ? value.map((choice) => called(section, one, String(choice))).join(", ") : written(value);
}

/** @param {SettingValue} value */
function written(value) {
  const text = words.setup.form;
  if (typeof value === "boolean") return value ? text.on : text.off;
  if (value === null || value === "") return text.nothing;
  if (typeof value === "number") return decimal(value);
  return Array.isArray(value) ? value.join(", ") : String(value);
}

/**
 * @param {string} section
 * @param {SettingEntry} one
 * @param {string} name
 * @param {string} described what says what became of a change
 * @param {(value: SettingValue) => unknown} keep
 */
function field(section, one, name, described, keep) {
  const attr = { "aria-label": name, "aria-describedby": described, name: one.key };
  if (one.kind === "switch") {
    const box = element("input", { type: "checkbox", checked: one.value === true, onchange: () => keep(box.checked), attr });
    return box;
  }
  if (one.kind === "choice") {
    const list = element("select", { onchange: () => keep(list.value), attr }, ...one.choices.map((choice) => element("option", { value: choice, selected: choice === one.value }, called(section, one, choice))));
    return list;
  }
  if (one.kind === "choices") return several(section, one, keep);
  const input = element("input", { value: written(one.value) === words.setup.form.nothing ? "" : written(one.value), size: one.kind === "text" ? 24 : 8, inputMode: one.kind === "text" ? "text" : "decimal",
    onchange: () => keep(read(input.value, one.kind)), attr: { ...attr, autocomplete: "off" } });
  return input;
}

/**
 * @param {string} section
 * @param {SettingEntry} one
 * @param {(value: SettingValue) => unknown} keep
 */
function several(section, one, keep) {
  const chosen = Array.isArray(one.value) ? one.value : [];
  return element("span", { className: "value" }, ...one.choices.map((choice) => {
    const box = element("input", { type: "checkbox", checked: chosen.includes(choice), onchange: () => keep(one.choices.filter((other) => (other === choice ? box.checked : chosen.includes(other)))) });
    return element("label", { className: "check" }, box, element("span", {}, called(section, one, choice)));
  }));
}

/**
 * What was typed as a value; what is no number goes as it is, and the program says what it takes.
 * @param {string} typed
 * @param {SettingEntry["kind"]} kind
 * @returns {SettingValue}
 */
function read(typed, kind) {
  const text = typed.trim();
  if (kind === "text") return text;
  if (text === "") return null;
  const number = (/** @type {string} */ part) => (part.trim() !== "" && Number.isFinite(Number(part.replace(",", "."))) ? Number(part.replace(",", ".")) : part);
  return kind === "numbers" ? text.split(/[,x×\s]+/).map(number) : number(text);
}
