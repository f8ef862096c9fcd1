// The hand's length against a bank card in the same picture: four clicks on a picture that stands still.

import { byId, element, setText } from "../dom.js";
import { words } from "../language.js";
import { button } from "./parts.js";

/** @import { Point } from "../api.d.ts" */

/** The long edge of a bank card (ISO/IEC 7810, format ID-1). */
const CARD_MM = 85.6;

/**
 * @param {readonly Point[]} points both ends of the card's long edge, wrist, fingertip
 * @returns {number} millimetres, to a whole one
 */
export function handLength(points) {
  const [a, b, wrist, tip] = points;
  if (!a || !b || !wrist || !tip) throw new Error("four points are needed");
  const apart = (/** @type {Point} */ one, /** @type {Point} */ other) => Math.hypot(one[0] - other[0], one[1] - other[1]);
  return Math.round((CARD_MM * apart(wrist, tip)) / apart(a, b));
}

/** @param {(lengthMm: number) => Promise<boolean>} keep */
export function cardDialog(keep) {
  const text = words.setup.hand;
  const source = byId("canvas", HTMLCanvasElement);
  const picture = element("canvas", { className: "card-picture", width: source.width, height: source.height });
  const pen = picture.getContext("2d");
  const said = element("p", { attr: { role: "status" } }, text.cardAbout);
  const sheet = element("dialog", { className: "sheet card-sheet", attr: { "aria-label": text.card } });
  /** @type {Point[] | null} */
  let points = null;
  const take = () => {
    pen?.drawImage(source, 0, 0);
    points = [];
    setText(said, text.cardPoints[0] ?? "");
  };
  const showLive = () => {
    if (!sheet.open) return;
    if (points === null) pen?.drawImage(source, 0, 0);
    requestAnimationFrame(showLive);
  };
  picture.addEventListener("click", async (event) => {
    if (points === null || points.length >= 4 || !pen) return;
    const box = picture.getBoundingClientRect();
    const point = /** @type {Point} */ ([((event.clientX - box.left) * picture.width) / box.width, ((event.clientY - box.top) * picture.height) / box.height]);
    points.push(point);
    pen.beginPath();
    pen.arc(point[0], point[1], picture.width / 160, 0, 2 * Math.PI);
    pen.fillStyle = "#ff4d2e";
    pen.fill();
    const length = points.length < 4 ? null : handLength(points);
    setText(said, length === null ? text.cardPoints[points.length] ?? "" : text.cardResult(length));
    if (length !== null && await keep(length)) sheet.close();
  });
  sheet.append(element("h2", {}, text.card), said, picture, element("p", { className: "row" }, button(text.cardTake, take, "main"), button(words.close, () => sheet.close())));
  sheet.addEventListener("close", () => sheet.remove());
  document.body.append(sheet);
  sheet.showModal();
  showLive();
}
