// Charts by plotly, from this machine and loaded only where a page has a chart. The numbers of every chart also
// stand in a table or a sentence beside it.

import { element } from "../dom.js";
import { language, locale, words } from "../language.js";
import { sign } from "../terms.js";

/** @import { Level, SignedLimit, TraceSeries } from "../api.d.ts" */
/** @typedef {{ newPlot: (node: HTMLElement, data: object[], layout: object, config: object) => void }} Plotly */
/** @typedef {{ xaxis?: object, yaxis?: object } & Record<string, unknown>} Layout */

const ADDRESS = "/library/plotly.min.js";
/** @type {Promise<Plotly> | null} */
let loading = null;
/** How each chart on the page is drawn, once it is shown. @type {WeakMap<Element, () => Promise<void>>} */
const drawings = new WeakMap();

function library() {
  loading ??= new Promise((resolve, reject) => {
    // One part of the library, its maps, writes a style of its own into the page unless an element with its
    // 64-letter name is there; the page's security policy forbids that, and maps are not used here.
    const find = document.getElementById;
    document.getElementById = (id) => find.call(document, id) ?? (/^[0-9a-f]{64}$/.test(id) ? document.head : null);
    const done = (/** @type {() => void} */ act) => () => {
      document.getElementById = find;
      act();
    };
    document.head.append(element("script", {
      src: ADDRESS, onload: done(() => resolve(/** @type {{ Plotly: Plotly }} */ (/** @type {unknown} */ (window)).Plotly)),
      onerror: done(() => reject(new Error("no charts"))),
    }));
  });
  return loading;
}

/** @param {string} name */
const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim();
const SERIES = ["button", "beyond", "muted", "focus", "ink", "extreme"];
const SYMBOLS = ["circle", "square", "diamond", "triangle-up", "cross", "star"];

/**
 * A place for a chart; drawn by `drawCharts` once the page is shown.
 * @param {string} label
 * @param {number} height
 * @param {() => { data: object[], layout?: Layout }} make
 */
export function chart(label, height, make) {
  const node = element("div", { className: "chart", attr: { role: "img", "aria-label": label } });
  node.style.height = `${height}px`;
  drawings.set(node, async () => {
    let plotly;
    try {
      plotly = await library();
    } catch {
      node.style.height = "auto";
      node.replaceChildren(element("p", { className: "small" }, words.charts.failed));
      return;
    }
    if (!node.isConnected) return;
    const { data, layout = {} } = make();
    plotly.newPlot(node, data, merged(layout), { displayModeBar: false, responsive: true, doubleClick: "reset" });
  });
  return node;
}

/** @param {ParentNode} root */
export function drawCharts(root) {
  for (const node of root.querySelectorAll(".chart")) drawings.get(node)?.();
}

/** @param {Layout} layout */
function merged({ xaxis = {}, yaxis = {}, ...layout }) {
  const axis = { gridcolor: colour("line"), zerolinecolor: colour("muted"), automargin: true, fixedrange: true };
  return {
    paper_bgcolor: "rgba(0,0,0,0)", plot_bgcolor: "rgba(0,0,0,0)",
    font: { family: getComputedStyle(document.body).fontFamily, size: 14, color: colour("ink") },
    margin: { l: 8, r: 8, t: 8, b: 8 }, hovermode: "closest", separators: language === "de" ? ",." : ".,",
    legend: { orientation: "h", y: -0.18, yanchor: "top" },
    ...layout, xaxis: { ...axis, ...xaxis }, yaxis: { ...axis, ...yaxis },
  };
}

/**
 * An axis of days: each tick is a day that has a value, written in the language of the page.
 * @param {readonly string[]} days
 */
function dayAxis(days) {
  const all = [...new Set(days)].sort();
  const step = Math.max(1, Math.ceil(all.length / 8));
  const ticks = all.filter((_, i) => i % step === 0);
  return { type: "date", tickmode: "array", tickvals: ticks, ticktext: ticks.map(dayText) };
}

/** @param {string} day */
const dayText = (day) => new Date(day).toLocaleDateString(locale, { day: "numeric", month: "short" });

/** @typedef {{ name: string, shares: Map<string, number> }} StateRow shares in 0 to 1 */

/**
 * Shares of the measured time by state, one bar per line.
 * @param {string} label
 * @param {readonly StateRow[]} rows
 */
export function stateChart(label, rows) {
  /** @type {readonly (readonly ["within" | "unsure" | "beyond" | "extreme", string, string])[]} */
  const states = [["within", "within", ""], ["unsure", "panel", "."], ["beyond", "beyond-ground", "/"], ["extreme", "extreme", ""]];
  return chart(label, 70 + 44 * rows.length, () => ({
    data: states.map(([key, tone, shape]) => ({
      type: "bar", orientation: "h", name: words.states[key], y: rows.map((row) => row.name), x: rows.map((row) => 100 * (row.shares.get(key) ?? 0)),
      marker: { color: colour(tone), pattern: { shape, fgcolor: colour(key === "unsure" ? "muted" : "beyond"), fillmode: "overlay", solidity: 0.45 },
        line: { width: 1, color: colour(key === "within" || key === "unsure" ? "muted" : key) } },
      hovertemplate: "%{x:.0f} % %{data.name}<extra></extra>",
    })),
    layout: { barmode: "stack", bargap: 0.35, xaxis: { range: [0, 100], ticksuffix: " %" }, yaxis: { autorange: "reversed" } },
  }));
}

/**
 * One quantity over a session: lowest to highest value by bin as a band, the median as a line, limits dashed.
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
    const line = (/** @type {(number | null)[]} */ y, /** @type {object} */ more) => ({ type: "scatter", mode: "lines", x, y, hoverinfo: "skip", line: { width: 0 }, ...more });
    const valueAt = (/** @type {number} */ timeS) => series.median[Math.floor(timeS / binS)] ?? 0;
    return {
      data: [
        line(series.low, { showlegend: false }),
        line(series.high, { fill: "tonexty", fillcolor: `${colour("button")}55`, name: words.charts.range }),
        line(series.median, { line: { width: 2, color: colour("button") }, name: words.charts.median, hoverinfo: "all",
          hovertemplate: `%{y:.0f}${sign(series.unit)}, %{x:.1f} ${unit}<extra></extra>` }),
        { type: "scatter", mode: "markers", name: words.charts.moments, x: moments.map((one) => one.time_s / unitS),
          y: moments.map((one) => valueAt(one.time_s)), text: moments.map((one) => one.text), hovertemplate: "%{text}<extra></extra>",
          marker: { symbol: "diamond", size: 11, color: colour("extreme") } },
      ],
      layout: {
        xaxis: { ticksuffix: ` ${unit}`, rangemode: "tozero" }, yaxis: { ticksuffix: sign(series.unit), zeroline: true },
        shapes: limits.map((one) => ({
          type: "line", xref: "paper", x0: 0, x1: 1, y0: one.value, y1: one.value,
          line: { width: 1.5, dash: one.level === "extreme" ? "solid" : "dash", color: colour(one.level === "extreme" ? "extreme" : "beyond") },
        })),
      },
    };
  });
}

/** @typedef {{ name: string, group: string, level: Level | string, x: string[], y: (number | null)[] }} ShareLine shares in 0 to 1 by day */

/**
 * Lines over days or weeks. Both limits of one group share a colour and a sign, solid for the extreme one, dashed and
 * hollow for comfort, so that both can be seen where they coincide.
 * @param {string} label
 * @param {readonly ShareLine[]} lines
 */
export function shareChart(label, lines) {
  const groups = [...new Set(lines.map((one) => one.group))];
  return chart(label, 330, () => ({
    data: lines.map(({ name, group, level, x, y }) => {
      const [place, comfort] = [groups.indexOf(group), level === "comfort"];
      return {
        type: "scatter", mode: "lines+markers", name, x, y: y.map((one) => (one === null ? null : 100 * one)), connectgaps: false,
        line: { width: comfort ? 1.5 : 2.5, color: colour(SERIES[place % SERIES.length] ?? "ink"), dash: comfort ? "dash" : "solid" },
        marker: { size: comfort ? 13 : 7, symbol: `${SYMBOLS[place % SYMBOLS.length]}${comfort ? "-open" : ""}` },
        text: x.map(dayText), hovertemplate: "%{text}: %{y:.0f} %<extra>%{data.name}</extra>",
      };
    }),
    layout: { xaxis: dayAxis(lines.flatMap((one) => one.x)), yaxis: { rangemode: "tozero", ticksuffix: " %" }, legend: { orientation: "h", y: -0.15, yanchor: "top" } },
  }));
}

/**
 * @param {string} label
 * @param {string[]} days
 * @param {number[]} y
 * @param {string} unit
 */
export function barChart(label, days, y, unit) {
  return chart(label, 240, () => ({
    data: [{ type: "bar", x: days, y, marker: { color: colour("button") }, text: days.map(dayText), textposition: "none", hovertemplate: `%{text}: %{y:.0f} ${unit}<extra></extra>` }],
    layout: { xaxis: dayAxis(days), yaxis: { title: { text: unit }, rangemode: "tozero" }, showlegend: false },
  }));
}
