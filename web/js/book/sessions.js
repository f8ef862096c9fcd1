// The list of sessions, newest first.

import { get } from "../actions.js";
import { element } from "../dom.js";
import { duration } from "../words.js";
import { bytes, dateAndTime, faultPage, head, link, table } from "./parts.js";

const MOST = 60;

export async function sessionsPage([from = "0"]) {
  const [{ body, error }, data] = await Promise.all([get("sessions"), get("data")]);
  if (error) return faultPage("Sessions", error);
  const sizes = new Map((data.body?.sessions ?? []).map((one) => [one.id, one]));
  const all = body.sessions;
  const first = Math.max(0, Number.parseInt(from, 10) || 0);
  const rows = all.slice(first, first + MOST).map((one) => [
    link(dateAndTime(one.started_at), `#/session/${encodeURIComponent(one.id)}`),
    one.ended_at === null ? "running" : duration(one.duration_s),
    one.source?.name ?? "",
    String(sizes.get(one.id)?.clips ?? 0),
    sizes.has(one.id) ? bytes(sizes.get(one.id).samples_bytes + sizes.get(one.id).clips_bytes) : "",
  ]);
  const more = element("p", { className: "row" },
    first > 0 ? link("‹ Newer", `#/sessions/${Math.max(0, first - MOST)}`) : null,
    first + MOST < all.length ? link("Older ›", `#/sessions/${first + MOST}`) : null);
  return {
    title: "Sessions",
    nodes: [
      head("Sessions"),
      all.length === 0
        ? element("p", {}, "Nothing has been recorded yet. Start a practice on the practice page; it is kept here when it ends.")
        : table("Sessions, newest first", ["When", "Length", "Source", "Clips", "Size"], rows, "wide"),
      more,
    ],
  };
}
