// One session: what stands out, the exposure in charts and tables, clips, passages, marks and checks.

import { get, send } from "../actions.js";
import { element } from "../dom.js";
import { dateAndTime, duration, passageName, percent, sourceName } from "../format.js";
import { words } from "../language.js";
import { findingText, holdsCard, nextCard, timelineCard, tryNode } from "../overview.js";
import { headline } from "../summary.js";
import { byState, directionName, fingersOnly, lineName, limitsOf, momentWords, refusalName, wristOnly } from "../terms.js";
import { checkList } from "./check-list.js";
import { clipList } from "./clips.js";
import { comparisonCard } from "./comparison.js";
import { drawCharts, seriesChart } from "./charts.js";
import { detailCard } from "./detail.js";
import { fingersCard } from "./fingers-card.js";
import { marksCard, passagesCard } from "./labels.js";
import { levelOf, lineColumn, worstLines } from "./lines.js";
import { button, card, confirmed, done, faultPage, fold, head, link, named, table } from "./parts.js";
import { remarksCard } from "./remarks.js";
import { askForReport } from "./report.js";
import { stateBars } from "./state-bars.js";

/** @import { Answer, Exposure, Page, Part, SessionDocument, SessionTrace, Summary, TraceSeries } from "../api.d.ts" */

const SHORTEST_REASON_S = 0.5;
const MOST_LINES = 3;

/**
 * @param {readonly string[]} parts
 * @returns {Promise<Page>}
 */
export async function sessionPage([id = ""]) {
  const address = `sessions/${encodeURIComponent(id)}`;
  /** @type {[Answer<SessionDocument>, Answer<SessionTrace>, Answer<Summary>]} */
  const [{ body, error }, trace, summary] = await Promise.all([get(address), get(`${address}/trace?bins=500`), get(`${address}/summary`)]);
  if (!body) return faultPage(words.sessions.session, error);
  const title = dateAndTime(body.session.started_at);
  return {
    title: words.session.of(title),
    nodes: [
      top(body, id, title, summary.body),
      ...(body.damage ?? []).map((sentence) => element("p", { className: "fault" }, sentence)),
      remarksCard(body),
      ...(body.exposure === null ? [card(null, element("p", {}, words.session.running)), clipsCard(body)]
        : ended(body, body.exposure, trace.body, summary)),
      body.checks.length > 0 ? card(words.session.felt, checkList(body.checks)) : null,
      edit(body),
      comparisonCard(body),
    ],
    shown: () => drawCharts(document),
  };
}

/** @param {SessionDocument} document */
function edit(document) {
  const node = fold(words.session.edit, element("div", { className: "summary-columns" }, passagesCard(document), marksCard(document)));
  node.id = "edit";
  return node;
}

/** @param {SessionDocument} document */
const clipsCard = (document) => card(words.clips.title, clipList(document.clips, words.session.noClips));

/**
 * The parts of a session that has ended.
 * @param {SessionDocument} document
 * @param {NonNullable<SessionDocument["exposure"]>} exposure
 * @param {SessionTrace | null} trace
 * @param {Answer<Summary>} summary
 */
function ended(document, exposure, trace, summary) {
  const wrist = wristOnly(exposure.session);
  return [
    ...(summary.body ? [timelineCard(summary.body, document)] : []),
    findingCard(document) ?? (summary.body ? nextCard(summary.body, document) : null),
    summary.body ? holdsCard(summary.body, document) : null,
    passagesTable(exposure.parts.map((part) => ({ ...part, exposure: wristOnly(part.exposure) }))), clipsCard(document),
    statesCard(wrist), trace ? seriesCard(trace, exposure.session, document) : null, fingersCard(summary, exposure.parts), detailCard(wrist, summary.body?.excursions ?? []),
  ];
}

/**
 * @param {SessionDocument} document
 * @param {string} id
 * @param {string} title
 * @param {Summary | null} summary
 */
function top({ session, passages }, id, title, summary) {
  const text = words.session;
  const pieces = [...new Set(passages.map((one) => one.piece).filter(Boolean))];
  const parts = [duration(session.duration_s), sourceName(session.source, session.demo), ...pieces.map((one) => named(one ?? "")),
    session.lost_samples ? text.lostSamples(session.lost_samples) : ""].filter(Boolean).flatMap((one, i) => (i > 0 ? [" · ", one] : [one]));
  const remove = async () => {
    if (!(await confirmed(text.deleteQuestion(title), text.delete))) return;
    if (await done(send("DELETE", `sessions/${encodeURIComponent(id)}`))) location.hash = "#/sessions";
  };
  const line = session.ended_at !== null && summary !== null ? element("p", { className: "headline" }, headline(summary)) : null;
  return head(title, line, element("p", {}, ...parts), element("p", { className: "row no-print" },
    link(text.saveAs("CSV"), `/api/sessions/${encodeURIComponent(id)}/export.csv`, { className: "small-button", download: "" }),
    link(text.saveAs("JSON"), `/api/sessions/${encodeURIComponent(id)}/export.json`, { className: "small-button", download: "" }),
    button(words.report.open, () => askForReport(id), { id: "report", disabled: session.ended_at === null }),
    button(text.print, () => window.print()),
    button(text.delete, remove, { className: "danger", id: "delete-session", disabled: session.ended_at === null })));
}

/** @param {SessionDocument} document */
function findingCard({ finding, clips }) {
  const text = words.finding;
  if (finding === null) return null;
  const places = new Map(clips.map((clip, i) => [String(clip.id), i + 1]));
  const watch = finding.moments.filter((one) => places.has(one)).slice(0, 3)
    .map((one) => link(text.watch(places.get(one) ?? 0), `#/review/${one}`, { className: "small-button" }));
  const node = card(text.title, element("p", { className: "finding" }, findingText(finding)),
    element("p", { className: "small" }, text.facts(percent(finding.measured_share), duration(finding.measured_s), duration(finding.measured_elsewhere_s))),
    element("p", { className: "row" }, ...watch, link(text.meaning, `#/guide/${finding.direction}`, { className: "small-button" })), tryNode(finding.direction));
  node.id = "finding";
  return node;
}

/** @param {readonly Exposure[]} exposures */
function statesCard(exposures) {
  const text = words.session;
  const rows = exposures.filter((one) => one.measured_s > 0).flatMap((one) => one.directions.map((direction) => ({
    name: words.sided(one.side, directionName(direction.direction)),
    shares: new Map([...byState(direction.states_s)].map(([state, seconds]) => [state, seconds / one.measured_s])),
  })));
  const measured = exposures.map((one) => element("li", {}, `${lineName(one)}: ${whyNot(one)}`));
  return fold(text.states,
    rows.length === 0 ? element("p", {}, text.nothingMeasured) : stateBars(rows),
    element("p", { className: "small" }, text.statesNote),
    element("details", {}, element("summary", {}, text.howMuch), element("ul", {}, ...measured)));
}

/** @param {Exposure} one */
function whyNot(one) {
  const reasons = Object.entries(one.unseen_s).filter(([, seconds]) => seconds >= SHORTEST_REASON_S)
    .map(([reason, seconds]) => `${refusalName(reason)} ${duration(seconds)}`);
  return words.session.measured(one.total_s > 0 ? percent(one.measured_s / one.total_s) : null, reasons.join(", "));
}

/** @param {readonly Part[]} parts */
function passagesTable(parts) {
  const text = words.session;
  if (parts.length === 0) return card(text.byPassage, element("p", {}, text.noPassages));
  const lines = worstLines(parts.map((part) => part.exposure)).slice(0, MOST_LINES);
  const rows = parts.map((part) => {
    const total = Math.max(0, ...part.exposure.map((one) => one.total_s));
    const measured = Math.max(0, ...part.exposure.map((one) => one.measured_s));
    return [named(passageName(part)), duration(total), percent(total > 0 ? measured / total : null),
      ...lines.map((line) => percent(levelOf(part.exposure, line)?.share ?? null))];
  });
  return card(text.byPassage, table(text.byPassageCaption, [words.playing.passage, words.pieces.played, words.fingers.measured, ...lines.map(lineColumn)], rows),
    lines.length === 0 ? element("p", { className: "small" }, text.noLimitInAny) : null);
}

/**
 * The values of one quantity over the session, with its limits and the moments of clips and marks.
 * @param {SessionTrace} trace
 * @param {readonly Exposure[]} exposures
 * @param {SessionDocument} document
 */
function seriesCard(trace, exposures, { clips, marks }) {
  const text = words.session;
  const holder = element("div", {});
  const limitsFor = (/** @type {TraceSeries} */ one) => {
    const exposure = exposures.find((entry) => entry.side === one.side && entry.quantity === one.quantity);
    return exposure ? limitsOf(exposure) : [];
  };
  // The wrist first; of fingers, what has a limit.
  const series = [...wristOnly(trace.series), ...fingersOnly(trace.series).filter((one) => limitsFor(one).length > 0)]
    .filter((one) => one.measured.some((share) => share > 0));
  if (series.length === 0) return fold(text.overTime, element("p", {}, text.nothingMeasured));
  const show = (/** @type {number} */ which) => {
    const one = series[which];
    if (!one) return;
    const moments = [
      ...clips.flatMap((clip, i) => clip.moments.filter((moment) => moment.kind === "mark"
        || (moment.side === one.side && moment.quantity === one.quantity))
        .map((moment) => ({ time_s: moment.key_s, text: words.clips.numbered(i + 1, momentWords(moment)) }))),
      ...marks.map((mark) => ({ time_s: mark.time_s, text: mark.note || words.marks.one })),
    ];
    holder.replaceChildren(seriesChart(text.overTimeOf(lineName(one)), one, trace.bin_s, limitsFor(one), moments));
  };
  const choice = element("select", { onchange: () => { show(Number(choice.value)); drawCharts(holder); }, attr: { "aria-label": words.player.whichLine } },
    ...series.map((one, i) => element("option", { value: String(i) }, lineName(one))));
  show(0);
  return fold(text.overTime, element("p", { className: "row" }, choice), holder, element("p", { className: "small" }, text.overTimeNote));
}

