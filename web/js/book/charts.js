// Charts by plotly, from this machine and loaded only where a page has a chart. The numbers of every chart also
// stand in a table or a sentence beside it.

import { element } from "../dom.js";
import { sign } from "./quantities.js";

const ADDRESS = "/library/plotly.min.js";
let loading = null;

function library() {
  loading ??= new Promise((resolve, reject) => {
    // One part of the library, its maps, writes a style of its own into the page unless an element with its
    // 64-letter name is there; the page's security policy forbids that, and maps are not used here.
    const find = document.getElementById;
    document.getElementById = (id) => find.call(document, id) ?? (/^[0-9a-f]{64}$/.test(id) ? document.head : null);
    const done = (act) => () => {
      document.getElementById = find;
      act();
    };
    document.head.append(element("script", {
      src: ADDRESS, onload: done(() => resolve(window.Plotly)), onerror: done(() => reject(new Error("no charts"))),
    }));
  });
  return loading;
}

const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim();
const SERIES = ["button", "beyond", "muted", "focus", "ink", "extreme"];
const SYMBOLS = ["circle", "square", "diamond", "triangle-up", "cross", "star"];

/** A place for a chart; drawn by `draw` once the page is shown. */
export function chart(label, height, make) {
  const node = element("div", { className: "chart", attr: { role: "img", "aria-label": label } });
  node.style.height = `${height}px`;
  node.draw = async () => {
    let plotly;
    try {
      plotly = await library();
    } catch {
      node.style.height = "auto";
      node.replaceChildren(element("p", { className: "small" }, "The charts could not be loaded; the numbers are in the table."));
      return;
    }
    if (!node.isConnected) return;
    const { data, layout = {} } = make();
    plotly.newPlot(node, data, merged(layout), { displayModeBar: false, responsive: true, doubleClick: "reset" });
  };
  return node;
}

export function drawCharts(root) {
  for (const node of root.querySelectorAll(".chart")) node.draw?.();
}

function merged({ xaxis = {}, yaxis = {}, ...layout }) {
  const axis = { gridcolor: colour("line"), zerolinecolor: colour("muted"), automargin: true, fixedrange: true };
  return {
    paper_bgcolor: "rgba(0,0,0,0)", plot_bgcolor: "rgba(0,0,0,0)",
    font: { family: getComputedStyle(document.body).fontFamily, size: 14, color: colour("ink") },
    margin: { l: 8, r: 8, t: 8, b: 8 }, hovermode: "closest",
    legend: { orientation: "h", y: -0.18, yanchor: "top" },
    ...layout, xaxis: { ...axis, ...xaxis }, yaxis: { ...axis, ...yaxis },
  };
}

/** Shares of the measured time per state, one bar per line. rows: [{name, within, unsure, beyond, extreme}] in 0 to 1. */
export function zoneChart(label, rows) {
  const states = [["within", "in comfort", "line", ""], ["unsure", "unsure", "panel", "."], ["beyond", "past comfort", "beyond-ground", "/"],
    ["extreme", "extreme", "extreme", ""]];
  return chart(label, 70 + 44 * rows.length, () => ({
    data: states.map(([key, name, tone, shape]) => ({
      type: "bar", orientation: "h", name, y: rows.map((row) => row.name), x: rows.map((row) => 100 * row[key]),
      marker: { color: colour(tone), pattern: { shape, fgcolor: colour("beyond"), fillmode: "overlay", solidity: 0.45 } },
      hovertemplate: "%{x:.0f} % %{data.name}<extra></extra>",
    })),
    layout: { barmode: "stack", bargap: 0.35, xaxis: { range: [0, 100], ticksuffix: " %" }, yaxis: { autorange: "reversed" } },
  }));
}

/** The course of one quantity: lowest to highest value by bin as a band, the median as a line, limits dashed. */
export function courseChart(label, series, binS, limits, moments) {
  return chart(label, 300, () => {
    const [unit, unitS] = binS * series.median.length < 180 ? ["s", 1] : ["min", 60];
    const x = series.median.map((_, i) => ((i + 0.5) * binS) / unitS);
    const line = (y, more) => ({ type: "scatter", mode: "lines", x, y, hoverinfo: "skip", line: { width: 0 }, ...more });
    return {
      data: [
        line(series.low, { showlegend: false }),
        line(series.high, { fill: "tonexty", fillcolor: `${colour("button")}40`, name: "range" }),
        line(series.median, { line: { width: 2, color: colour("button") }, name: "middle value", hoverinfo: "all",
          hovertemplate: `%{y:.0f}${sign(series.unit)} at %{x:.1f} ${unit}<extra></extra>` }),
        { type: "scatter", mode: "markers", name: "clips and marks", x: moments.map((one) => one.time_s / unitS),
          y: moments.map(() => 0), text: moments.map((one) => one.text), hovertemplate: "%{text}<extra></extra>",
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

/** Lines over days or weeks. lines: [{name, x: [day], y: [share in 0 to 1 or null]}]. A name ends in its limit: both
 * limits of one direction share a colour and a sign, solid for the extreme one, dashed and hollow for comfort, so
 * that both can be seen where they coincide. */
export function shareChart(label, lines) {
  const directions = [...new Set(lines.map((one) => one.name.split(", ")[0]))];
  return chart(label, 330, () => ({
    data: lines.map(({ name, x, y }) => {
      const [place, comfort] = [directions.indexOf(name.split(", ")[0]), name.endsWith("comfort")];
      return {
        type: "scatter", mode: "lines+markers", name, x, y: y.map((one) => (one === null ? null : 100 * one)), connectgaps: false,
        line: { width: comfort ? 1.5 : 2.5, color: colour(SERIES[place % SERIES.length]), dash: comfort ? "dash" : "solid" },
        marker: { size: comfort ? 13 : 7, symbol: `${SYMBOLS[place % SYMBOLS.length]}${comfort ? "-open" : ""}` },
        hovertemplate: "%{x|%d %b}: %{y:.0f} %<extra>%{data.name}</extra>",
      };
    }),
    layout: { xaxis: { type: "date" }, yaxis: { rangemode: "tozero", ticksuffix: " %" }, legend: { orientation: "h", y: -0.15, yanchor: "top" } },
  }));
}

export function barChart(label, x, y, unit) {
  return chart(label, 240, () => ({
    data: [{ type: "bar", x, y, marker: { color: colour("button") }, hovertemplate: `%{x|%d %b}: %{y:.0f} ${unit}<extra></extra>` }],
    layout: { xaxis: { type: "date" }, yaxis: { title: { text: unit }, rangemode: "tozero" }, showlegend: false },
  }));
}
