// Charts by uPlot, from this machine and loaded only where a page has a chart. The numbers of every chart also stand in
// a table or a sentence beside it. Drawn anew where the place, the colours of the system, or the medium change.

import { element } from "../dom.js";
import { decimal } from "../format.js";
import { locale, words } from "../language.js";
import { sign } from "../terms.js";

/** @import uPlot from "uplot" */
/** @import { Level, SignedLimit, TraceSeries } from "../api.d.ts" */
/** @typedef {{ data: uPlot.AlignedData } & Omit<uPlot.Options, "width" | "height">} Drawing */
/** @typedef {{ make: () => Drawing, height: number, plot: uPlot | null }} Place a chart's place and what is drawn there */

const ADDRESS = "/library/uplot/uPlot.iife.min.js";
/** As wide as a printed page has room for. */
const PRINTED_PX = 640;
/** Between two words below an axis. */
const TICK_PX = 80;
const PIXELS = Math.min(2, window.devicePixelRatio || 1);
/** @type {Promise<typeof uPlot> | null} */
let loading = null;
/** @type {WeakMap<Element, Place>} */
const places = new WeakMap();
const widths = new ResizeObserver((entries) => {
  for (const { target } of entries) redraw(target);
});

function library() {
  loading ??= new Promise((resolve, reject) => {
    document.head.append(element("script", {
      src: ADDRESS, onload: () => resolve(/** @type {{ uPlot: typeof uPlot }} */ (/** @type {unknown} */ (window)).uPlot),
      onerror: () => reject(new Error("no charts")),
    }));
  });
  return loading;
}

/** @param {string} name */
const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim();
const SERIES = ["button", "beyond", "muted", "focus", "ink", "extreme"];
/** Lines differ by more than colour. */
const DASHES = [[], [12, 5], [3, 4], [12, 4, 3, 4], [7, 7], [18, 4]];

/**
 * A place for a chart; drawn by `drawCharts` once the page is shown.
 * @param {string} label
 * @param {number} height
 * @param {() => Drawing} make
 */
export function chart(label, height, make) {
  const node = element("div", { className: "chart", attr: { role: "img", "aria-label": label } });
  node.style.minHeight = `${height}px`;
  places.set(node, { make, height, plot: null });
  return node;
}

/** @param {ParentNode} root */
export async function drawCharts(root) {
  const nodes = [...root.querySelectorAll(".chart")];
  if (nodes.length === 0) return;
  try {
    await library();
  } catch {
    for (const node of nodes) node.replaceChildren(element("p", { className: "small" }, words.charts.failed));
    return;
  }
  // Told of each at once, and again whenever its width changes: one in a fold has none until that is opened.
  for (const node of nodes) widths.observe(node);
}

/**
 * @param {Element} node
 * @param {number} [width]
 */
async function redraw(node, width = node.clientWidth) {
  const [place, UPlot] = [places.get(node), await library()];
  if (!place || width === 0 || !node.isConnected || (place.plot?.width === width && !document.documentElement.classList.contains("printing"))) return;
  draw(UPlot, node, place, width);
}

/**
 * @param {typeof uPlot} UPlot
 * @param {Element} node
 * @param {Place} place
 * @param {number} width
 */
function draw(UPlot, node, place, width) {
  place.plot?.destroy();
  const { data, axes = [], ...options } = place.make();
  const font = `13px ${getComputedStyle(document.body).fontFamily}`;
  const line = { stroke: colour("line"), width: 1 };
  place.plot = new UPlot({
    width, height: place.height, cursor: { drag: { x: false, y: false }, y: false },
    legend: { markers: { fill: (plot, i) => filling(plot, i), dash: (plot, i) => (plot.series[i]?.dash?.length ? "dashed" : "solid") } }, ...options,
    axes: axes.map((one) => ({ stroke: colour("ink"), font, grid: line, ticks: line, ...one })),
  }, data, /** @type {HTMLElement} */ (node));
}

/**
 * What a line's sign in the legend is filled with, as its points are.
 * @param {uPlot} plot
 * @param {number} i
 */
function filling({ series }, i) {
  const fill = series[i]?.points?.fill ?? series[i]?.fill;
  return typeof fill === "string" ? fill : "transparent";
}

/** All charts anew, in the colours and at the width of what they are shown on. @param {boolean} printing */
function repaint(printing) {
  const UPlot = /** @type {{ uPlot?: typeof uPlot }} */ (/** @type {unknown} */ (window)).uPlot;
  document.documentElement.classList.toggle("printing", printing);
  for (const node of UPlot ? document.querySelectorAll(".chart") : []) {
    const place = places.get(node);
    const width = printing ? PRINTED_PX : node.clientWidth;
    // One in a fold is drawn for paper, too, and again once the fold is opened.
    if (UPlot && place && width > 0) draw(UPlot, node, place, width);
  }
}

window.addEventListener("beforeprint", () => repaint(true));
window.addEventListener("afterprint", () => repaint(false));
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => repaint(false));

/** Seconds of a day of the calendar, at its noon, or of a moment. @param {string} text */
const at = (text) => new Date(text.length === 10 ? `${text}T12:00` : text).getTime() / 1000;
/** @param {number} seconds */
const dayText = (seconds) => new Date(1000 * seconds).toLocaleDateString(locale, { day: "numeric", month: "short" });

/**
 * What charts over days share: each tick is a day that has a value, written in the language of the page.
 * @param {readonly number[]} days
 * @param {string} unit
 * @returns {Pick<uPlot.Options, "scales" | "axes">}
 */
function overDays(days, unit) {
  const apart = Math.max(3 * 86_400, ((days.at(-1) ?? 0) - (days[0] ?? 0)) / 20);
  return {
    scales: { x: { time: false, range: [(days[0] ?? 0) - apart, (days.at(-1) ?? 0) + apart] }, y: { range: (_, __, most) => [0, 1.1 * most || 1] } },
    axes: [
      { splits: (plot) => days.filter((_, i) => i % Math.ceil(days.length / Math.max(1, Math.floor(plot.width / TICK_PX))) === 0), values: (_, all) => all.map(dayText) },
      { size: 70, values: (_, all) => all.map((one) => `${decimal(one)}${unit}`) },
    ],
  };
}

const dayLabel = () => ({ label: words.charts.date, value: (/** @type {unknown} */ _, /** @type {number | null} */ day) => (day === null ? "–" : dayText(day)) });

/**
 * One quantity over a session: lowest to highest value by bin as a band, the median as a line, limits as lines.
 * @param {string} label
 * @param {TraceSeries} series
 * @param {number} binS
 * @param {readonly SignedLimit[]} limits
 * @param {readonly { time_s: number, text: string }[]} moments
 */
export function seriesChart(label, series, binS, limits, moments) {
  return chart(label, 300, () => {
    const [unit, unitS] = binS * series.median.length < 180 ? ["s", 1] : ["min", 60];
    const x = series.median.map((_, i) => ((i + 0.5) * binS) / unitS);
    /** @type {(string | undefined)[]} */
    const texts = x.map(() => undefined);
    for (const one of moments) texts[Math.min(x.length - 1, Math.floor(one.time_s / binS))] = one.text;
    const marked = texts.map((text, i) => (text === undefined ? null : series.median[i] ?? 0));
    const seen = (/** @type {number | null | undefined} */ value) => (value === null || value === undefined ? "–" : `${Math.round(value)}${sign(series.unit)}`);
    const edge = { stroke: colour("mark"), width: 1, points: { show: false } };
    return {
      data: [x, series.low, series.high, series.median, marked],
      scales: { x: { time: false }, y: { range: (_, low, high) => spanned(low, high, limits) } },
      series: [
        { label: unit, value: (_, time) => (time === null ? "–" : time.toFixed(1)) },
        { ...edge, label: words.charts.lowest, value: (_, value) => seen(value) },
        { ...edge, label: words.charts.highest, value: (_, value) => seen(value) },
        { label: words.charts.median, stroke: colour("button"), width: 2, points: { show: false }, value: (_, value) => seen(value) },
        { label: words.charts.moments, stroke: colour("extreme"), paths: () => null, points: { show: true, size: 11, fill: colour("extreme") },
          value: (_, __, ___, i) => (i === null ? "–" : texts[i] ?? "–") },
      ],
      bands: [{ series: [2, 1], fill: `${colour("button")}40` }],
      axes: [{ values: (_, all) => all.map((one) => `${one} ${unit}`) }, { size: 56, values: (_, all) => all.map((one) => `${one}${sign(series.unit)}`) }],
      hooks: { draw: [(plot) => limitLines(plot, limits)] },
    };
  });
}

/**
 * From the lowest to the highest, with the limits that the values come halfway to.
 * @param {number} low
 * @param {number} high
 * @param {readonly SignedLimit[]} limits
 * @returns {[number, number]}
 */
function spanned(low, high, limits) {
  const near = limits.map((one) => one.value).filter((limit) => limit < 0 ? low < limit / 2 : high > limit / 2);
  const [bottom, top] = [Math.min(0, low, ...near), Math.max(0, high, ...near)];
  const room = 0.06 * (top - bottom) || 1;
  return [bottom - room, top + room];
}

/**
 * Solid for an extreme limit, dashed for a comfort limit.
 * @param {uPlot} plot
 * @param {readonly SignedLimit[]} limits
 */
function limitLines({ ctx: pen, bbox, scales, valToPos }, limits) {
  const { min = 0, max = 0 } = scales.y ?? {};
  pen.save();
  for (const { value, level } of limits) {
    if (value < (min ?? 0) || value > (max ?? 0)) continue;
    const y = valToPos(value, "y", true);
    pen.beginPath();
    pen.moveTo(bbox.left, y);
    pen.lineTo(bbox.left + bbox.width, y);
    pen.setLineDash(level === "extreme" ? [] : [6 * PIXELS, 5 * PIXELS]);
    pen.lineWidth = (level === "extreme" ? 2 : 1.5) * PIXELS;
    pen.strokeStyle = colour(level === "extreme" ? "extreme" : "beyond");
    pen.stroke();
  }
  pen.restore();
}

/** @typedef {{ name: string, group: string, level: Level | string, x: string[], y: (number | null)[] }} ShareLine shares in 0 to 1 by day */

/**
 * Lines over days or weeks. Both limits of one group share a colour and dashes; full points are those of the extreme
 * limit, large hollow ones those of comfort, so that both can be seen where they coincide.
 * @param {string} label
 * @param {readonly ShareLine[]} lines
 */
export function shareChart(label, lines) {
  const groups = [...new Set(lines.map((one) => one.group))];
  const days = [...new Set(lines.flatMap((one) => one.x))].sort();
  return chart(label, 300, () => ({
    data: [days.map(at), ...lines.map(({ x, y }) => days.map((day) => {
      const share = y[x.indexOf(day)] ?? null;
      return share === null ? null : 100 * share;
    }))],
    series: [dayLabel(), ...lines.map(({ name, group, level }) => {
      const [place, comfort] = [groups.indexOf(group), level === "comfort"];
      const stroke = colour(SERIES[place % SERIES.length] ?? "ink");
      return {
        label: name, stroke, width: comfort ? 1.5 : 2.5, dash: DASHES[place % DASHES.length] ?? [],
        points: { show: true, size: comfort ? 13 : 8, width: 2, fill: comfort ? "transparent" : stroke },
        value: (/** @type {unknown} */ _, /** @type {number | null} */ value) => (value === null ? "–" : `${Math.round(value)} %`),
      };
    })],
    ...overDays(days.map(at), " %"),
  }));
}

/**
 * @param {string} label
 * @param {string[]} days
 * @param {number[]} y
 * @param {string} unit
 */
export function barChart(label, days, y, unit) {
  return chart(label, 220, () => ({
    data: [days.map(at), y],
    series: [dayLabel(), { label: unit, fill: colour("button"), stroke: colour("button"), points: { show: false },
      paths: /** @type {{ uPlot: typeof uPlot }} */ (/** @type {unknown} */ (window)).uPlot.paths.bars?.({ size: [0.7, 60] }) ?? (() => null),
      value: (_, value) => (value === null ? "–" : String(Math.round(value))) }],
    ...overDays(days.map(at), ""),
  }));
}

/**
 * The rating of discomfort from 0 to the highest, before and after playing.
 * @param {string} label
 * @param {number} highest
 * @param {readonly { name: string, hollow: boolean, x: string[], y: number[] }[]} lines
 */
export function ratingChart(label, highest, lines) {
  const days = [...new Set(lines.flatMap((one) => one.x))].sort();
  return chart(label, 220, () => {
    const { axes, scales } = overDays(days.map(at), "");
    return {
      data: [days.map(at), ...lines.map(({ x, y }) => days.map((day) => y[x.indexOf(day)] ?? null))],
      series: [dayLabel(), ...lines.map(({ name, hollow }) => ({
        label: name, stroke: colour(hollow ? "mark" : "extreme"), width: hollow ? 1.5 : 2.5, dash: hollow ? [6, 5] : [], spanGaps: true,
        points: { show: true, size: hollow ? 12 : 8, width: 2, fill: hollow ? "transparent" : colour("extreme") },
        value: (/** @type {unknown} */ _, /** @type {number | null} */ value) => (value === null ? "–" : String(value)),
      }))],
      axes: axes ?? [], scales: { ...scales, y: { range: [0, highest] } },
    };
  });
}
