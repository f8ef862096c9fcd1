// One session: what stands out, the exposure in charts and tables, clips, passages, marks and checks.

import { get, send } from "../actions.js";
import { element } from "../dom.js";
import { FINGER_CAUTIONS, fingerGroup, fingersMeasured } from "../finger-group.js";
import { fingersOnly } from "../fingers.js";
import { SIDE_LABEL, duration, percent, sentenceCase, wristOnly } from "../words.js";
import { checkList } from "./check-list.js";
import { clipList } from "./clips.js";
import { courseChart, drawCharts, zoneChart } from "./charts.js";
import { marksCard, passagesCard } from "./labels.js";
import { button, card, confirmed, dateAndTime, done, faultPage, head, link, passageName, table } from "./parts.js";
import { directionWords, leaning, limitsOf, lineName, momentWords, quantityOf, sign, sized } from "./quantities.js";

export async function sessionPage([id = ""]) {
  const address = `sessions/${encodeURIComponent(id)}`;
  const [{ body, error }, trace, summary] = await Promise.all([get(address), get(`${address}/trace?bins=500`), get(`${address}/summary`)]);
  if (error) return faultPage("Session", error);
  const title = dateAndTime(body.session.started_at);
  const exposure = body.exposure === null ? null : { session: wristOnly(body.exposure.session),
    parts: body.exposure.parts.map((part) => ({ ...part, exposure: wristOnly(part.exposure) })) };
  return {
    title: `Session of ${title}`,
    nodes: [
      top(body, id, title),
      exposure === null ? card(null, element("p", {}, "This session is still running; what it adds up to is worked out when it ends."))
        : findingCard(body),
      ...(exposure === null ? [] : [zonesCard(exposure.session), partsCard(exposure.parts), fingersCard(summary, body.exposure.parts)]),
      card("Clips", clipList(body.clips, "No moment of this session was filmed. Held extreme angles and your marks become clips.")),
      ...(exposure === null || !trace.body ? [] : [courseCard(trace.body, body.exposure.session, body)]),
      ...(exposure === null ? [] : [detailCard(exposure.session)]),
      element("div", { className: "summary-columns" }, passagesCard(body), marksCard(body)),
      body.checks.length > 0 ? card("How it felt", checkList(body.checks)) : null,
    ].filter((one) => one !== null),
    shown: () => drawCharts(document),
  };
}

function top({ session, passages }, id, title) {
  const pieces = [...new Set(passages.map((one) => one.piece).filter(Boolean))];
  const running = session.ended_at === null;
  const parts = [duration(session.duration_s), session.source?.name, pieces.join(", ")].filter(Boolean);
  if (session.lost_samples > 0) parts.push(`${session.lost_samples} samples could not be kept`);
  const remove = async () => {
    if (!(await confirmed(`Delete the session of ${title} for good, with its clips?`, "Delete session"))) return;
    if (await done(send("DELETE", `sessions/${encodeURIComponent(id)}`))) location.hash = "#/sessions";
  };
  return head(title, element("p", {}, parts.join(" · ")), element("p", { className: "row no-print" },
    link("Save as CSV", `/api/sessions/${encodeURIComponent(id)}/export.csv`, { className: "small-button", download: "" }),
    link("Save as JSON", `/api/sessions/${encodeURIComponent(id)}/export.json`, { className: "small-button", download: "" }),
    button("Print", () => window.print()),
    button("Delete session", remove, { className: "danger", id: "delete-session", disabled: running })));
}

function findingCard({ finding, clips }) {
  if (finding === null) {
    return card("The next thing to work on", element("p", {}, "Nothing stands out clearly enough to name: either no passage was "
      + "worse than the rest, or too little of it could be measured, or only one passage was played."));
  }
  const places = new Map(clips.map((clip, i) => [String(clip.id), i + 1]));
  const watch = finding.moments.filter((one) => places.has(one)).slice(0, 3)
    .map((one) => link(`Watch clip ${places.get(one)}`, `#/review/${one}`, { className: "small-button" }));
  const facts = `Measured in ${percent(finding.measured_share)} of the passage (${duration(finding.measured_s)}), compared with `
    + `${duration(finding.measured_elsewhere_s)} elsewhere. This share weighs each angle by its uncertainty, so the tables below can differ a little.`;
  const node = card("The next thing to work on", element("p", { className: "finding" }, finding.sentence),
    element("p", { className: "small" }, facts),
    element("p", { className: "row" }, ...watch, link("What this means", `#/know/${finding.direction}`, { className: "small-button" })));
  node.id = "finding";
  return node;
}

function zonesCard(exposures) {
  const rows = exposures.filter((one) => one.measured_s > 0).flatMap((one) => one.directions.map((direction) => ({
    name: `${sentenceCase(one.side)} ${direction.direction}`,
    within: direction.states_s["in comfort"] / one.measured_s, unsure: direction.states_s.unsure / one.measured_s,
    beyond: direction.states_s["past comfort"] / one.measured_s, extreme: direction.states_s.extreme / one.measured_s,
  })));
  const measured = exposures.map((one) => element("li", {}, `${lineName(one)}: ${whyNot(one)}`));
  return card("Time per state and direction",
    rows.length === 0 ? element("p", {}, "Nothing was measured in this session.") : zoneChart("Share of the measured time per state and direction", rows),
    element("p", { className: "small" }, "Shares are of the measured time; both directions of one wrist add up to 100 %. In comfort: the 90 % interval lies inside the comfort limits; unsure: it reaches past a limit."),
    element("details", {}, element("summary", {}, "How much was measured, and why the rest was not"), element("ul", {}, ...measured)));
}

function whyNot(one) {
  const share = one.total_s > 0 ? `measured ${percent(one.measured_s / one.total_s)} of the time` : "not measured";
  const reasons = Object.entries(one.unseen_s).filter(([, seconds]) => seconds >= 0.5)
    .map(([reason, seconds]) => `${reason} ${duration(seconds)}`);
  return `${share}${reasons.length > 0 ? `; the rest: ${reasons.join(", ")}` : ""}.`;
}

/** The lines (hand, quantity, direction) that any of these exposures is farthest beyond, worst first. */
function worstLines(groups) {
  const worst = new Map();
  for (const exposures of groups) {
    for (const one of exposures) {
      for (const direction of one.directions) {
        for (const level of direction.levels) {
          const key = JSON.stringify([one.side, one.quantity, direction.direction, level.level]);
          worst.set(key, Math.max(worst.get(key) ?? 0, (level.share ?? 0) * (level.level === "extreme" ? 1 : 0.2)));
        }
      }
    }
  }
  return [...worst].filter(([, most]) => most > 0.001).sort((a, b) => b[1] - a[1]).map(([key]) => JSON.parse(key));
}

function levelOf(exposures, [side, quantity, direction, level]) {
  const one = exposures.find((entry) => entry.side === side && entry.quantity === quantity);
  return one?.directions.find((entry) => entry.direction === direction)?.levels.find((entry) => entry.level === level) ?? null;
}

function partsCard(parts) {
  if (parts.length === 0) {
    return card("By passage", element("p", {}, "No passage was named. Name what you play beside the picture, or add passages below: "
      + "then this table tells where it happened."));
  }
  const lines = worstLines(parts.map((part) => part.exposure)).slice(0, 3);
  const rows = parts.map((part) => {
    const total = Math.max(0, ...part.exposure.map((one) => one.total_s));
    const measured = Math.max(0, ...part.exposure.map((one) => one.measured_s));
    return [passageName(part), duration(total), percent(total > 0 ? measured / total : null),
      ...lines.map((line) => percent(levelOf(part.exposure, line)?.share ?? null))];
  });
  const columns = lines.map(([side, , direction, level]) => `${sentenceCase(side)} ${direction}, beyond ${level} limit`);
  return card("By passage", table("Exposure by passage", ["Passage", "Played", "Measured", ...columns], rows),
    lines.length === 0 ? element("p", { className: "small" }, "No limit was passed in any of them.") : null);
}

function fingersCard({ body: summary, error }, parts) {
  if (error) return card("Fingers", element("p", { className: "fault" }, error));
  const node = card("Fingers", element("div", { className: "summary-columns" }, ...["left", "right"].map((side) =>
    fingerGroup(summary, side, SIDE_LABEL[side]))),
  ...(fingersMeasured(summary) ? [fingersByPassage(parts), ...FINGER_CAUTIONS.map((text) => element("p", { className: "small" }, text)),
    element("p", {}, link("What lift is, in one picture", "/finger-lift.svg"))] : []));
  node.id = "fingers";
  return node;
}

/** Of each passage, the lines and the cues of fingers that stand out most in any of them. */
function fingersByPassage(parts) {
  const lines = worstLines(parts.map((part) => fingersOnly(part.exposure))).slice(0, 2);
  const most = new Map();
  for (const cue of parts.flatMap((part) => part.cues)) {
    const key = JSON.stringify([cue.side, cue.cue]);
    const before = most.get(key);
    if ((cue.certain_share ?? 0) >= 0.01 && (before === undefined || cue.certain_share > before.certain_share)) most.set(key, cue);
  }
  const cues = [...most.values()].sort((a, b) => b.certain_share - a.certain_share).slice(0, 2);
  if (lines.length + cues.length === 0) return null;
  const columns = [...lines.map(([side, quantity, direction, level]) => `${sentenceCase(side)} ${leaning(quantity, direction)}, beyond ${level} limit`),
    ...cues.map((cue) => `${sentenceCase(cue.side)} ${cue.label} (share of the ${cue.share_of})`)];
  return table("Fingers by passage", ["Passage", ...columns], parts.map((part) => [passageName(part),
    ...lines.map((line) => percent(levelOf(part.exposure, line)?.share ?? null)),
    ...cues.map((cue) => percent(part.cues.find((one) => one.side === cue.side && one.cue === cue.cue)?.certain_share ?? null))]));
}

function courseCard(trace, exposures, { clips, marks }) {
  const holder = element("div", {});
  // The wrist first; of fingers, what has a limit.
  const limited = (one) => exposures.some((entry) => entry.side === one.side && entry.quantity === one.quantity && limitsOf(entry).length > 0);
  const series = [...wristOnly(trace.series), ...fingersOnly(trace.series).filter(limited)].filter((one) => one.measured.some((share) => share > 0));
  if (series.length === 0) return card("Over the session", element("p", {}, "Nothing was measured."));
  const show = (which) => {
    const one = series[which];
    const exposure = exposures.find((entry) => entry.side === one.side && entry.quantity === one.quantity);
    const moments = [
      ...clips.flatMap((clip, i) => clip.moments.filter((moment) => moment.kind === "mark"
        || (moment.side === one.side && moment.quantity === one.quantity))
        .map((moment) => ({ time_s: moment.key_s, text: `clip ${i + 1}: ${momentWords(moment)}` }))),
      ...marks.map((mark) => ({ time_s: mark.time_s, text: mark.note || "mark" })),
    ];
    holder.replaceChildren(courseChart(`Course of ${lineName(one)}`, one, trace.bin_s, exposure ? limitsOf(exposure) : [], moments));
  };
  const choice = element("select", { onchange: () => { show(Number(choice.value)); drawCharts(holder); }, attr: { "aria-label": "Which line" } },
    ...series.map((one, i) => element("option", { value: String(i) }, lineName(one))));
  show(0);
  return card("Over the session", element("p", { className: "row" }, choice), holder,
    element("p", { className: "small" }, "Solid lines: extreme limits; dashed: comfort limits. Upwards is flexion or ulnar, downwards extension "
      + "or radial; for fingers upwards is lifted or bent, downwards bent backwards. Where the line breaks off, nothing was measured."));
}

function detailCard(exposures) {
  const rows = exposures.filter((one) => one.measured_s > 0).flatMap((one) => one.directions.flatMap((direction) =>
    direction.levels.filter((level) => level.seconds > 0).map((level) => [
      `${sentenceCase(one.side)} ${quantityOf(one.quantity).label.split(" ")[0]}, ${directionWords(direction.direction)}`,
      `${level.level}, ${Math.round(level[`limit_${one.unit}`])}${sign(one.unit)}`,
      `${duration(level.seconds)} (${percent(level.share)})`,
      level.longest_s === null ? "–" : duration(level.longest_s), String(level.excursions),
      `${Math.round(level[`excess_${one.unit}_s`])}${sign(one.unit)}\u00a0s`,
    ])));
  const spread = exposures.filter((one) => one[`percentiles_${one.unit}`] !== null).map((one) => {
    const p = one[`percentiles_${one.unit}`];
    return [`${SIDE_LABEL[one.side]}, ${quantityOf(one.quantity).label}`, ...[p.p10, p.p50, p.p90].map((value) => sized(one.quantity, one.unit, value)),
      one.rests === null ? "–" : String(one.rests.per_minute)];
  });
  return card("In detail",
    rows.length === 0 ? element("p", {}, "No limit was passed, as far as it was measured.") : table("Beyond each limit", ["Direction", "Limit", "Time beyond", "Longest", "Excursions", "Excess angle x time"], rows),
    table("Spread and rests", ["Quantity", "10th percentile", "Middle", "90th percentile", "Rests a minute"], spread),
    element("p", { className: "small" }, "Longest: the longest time beyond without a break. Excursions end once the hand is clearly back. Excess angle x time: degrees beyond the limit times seconds. Rests: 2 s or more near neutral. Posture only: a camera cannot "
      + "see force, which matters as much."),
    element("details", {}, element("summary", {}, "How long at which angle without a break (exposure variation)"),
      ...exposures.filter((one) => one.measured_s > 0).map(variation)));
}

function variation(one) {
  const { duration_edges_s: edges, seconds } = one.variation;
  const bounds = one.variation[`amplitude_edges_${one.unit}`];
  const columns = [...edges, null].map((edge, i) => (edge === null ? `over ${edges.at(-1)} s` : `${i === 0 ? 0 : edges[i - 1]}–${edge} s`));
  const rowName = (i) => {
    if (i === 0) return `below ${Math.round(bounds[0])}${sign(one.unit)}`;
    return i === bounds.length ? `above ${Math.round(bounds.at(-1))}${sign(one.unit)}` : `${Math.round(bounds[i - 1])} to ${Math.round(bounds[i])}${sign(one.unit)}`;
  };
  return element("div", {}, element("h3", {}, lineName(one)),
    table(`Exposure variation, ${lineName(one)}`, ["Angle", ...columns],
      seconds.map((row, i) => [rowName(i), ...row.map((cell) => (cell >= 0.05 ? duration(cell) : "–"))])));
}
