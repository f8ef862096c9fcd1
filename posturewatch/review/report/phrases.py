"""The sentences of a report, and numbers as it writes them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from posturewatch.comfort.exceedance import INTERVAL_SD
from posturewatch.exposure.rules import ENOUGH_SHARE
from posturewatch.model.measurement import Refusal
from posturewatch.model.quantities import quantity
from posturewatch.review.report.content import Angle, Discomfort, Hand, Moment, Report
from posturewatch.review.report.language import capital, decimal, say, spoken

__all__ = [
    "CAUTIONS",
    "COLUMNS_MEAN",
    "HOW_SURE",
    "IF_IT_HURTS",
    "ISB",
    "PICTURED",
    "STATES_MEAN",
    "WARNING_MEANS",
    "angle_text",
    "clock",
    "discomfort_text",
    "drawn_text",
    "duration",
    "finding_text",
    "headline",
    "how_sure",
    "moment_text",
    "moment_when",
    "next_step",
    "percent",
    "sided",
    "signed",
    "spread_text",
    "title",
    "view_sentence",
]

#: Where enough was judged to say so.
NOTHING_HELD = "No hold past a limit was found to show. Time that was unsure or not seen may have had some."
#: Where it was not.
NOTHING_TOLD = "Too little could be judged to say whether a wrist was held past a limit."

#: Share of the time from which it is said beside the view how much was unsure.
_MUCH_UNSURE = 0.2

CAUTIONS: tuple[str, ...] = (
    "This is posture only. A camera cannot see force, and how hard and how long one presses matter as much.",
    "No wrist-angle limit has been validated for playing an instrument; those used here come from work and physiology. "
    "Sources disagree on which direction is worse.",
    "It diagnoses nothing, and replaces neither a teacher nor a clinician. A report without warnings is no proof of a "
    "healthy hand.",
)

IF_IT_HURTS = (
    "If it hurts, stop. Numbness or tingling, weakness, fingers that curl or lose control, pain at night "
    "or at rest, locking, swelling, or pain of more than one to two weeks in spite of rest: see a "
    "clinician. A hot swollen joint with fever, or sudden weakness: the same day. Chest or arm pain with "
    "breathlessness: the emergency number. (General medical knowledge; local rules come first.)"
)

HOW_SURE = (
    "Angles are estimated from an ordinary camera. Each has a 90 % interval: in about nine of ten cases "
    "the true angle lies inside it. For comparison: a goniometer laid on the wrist by hand was 6 to 7 degrees "
    "off what X-rays show (Carter 2009, J Hand Surg Am 34:1422-1428). The error of one film is mostly the same "
    "throughout, so comparing moments of one "
    "practice is safer than trusting a single number. Time that could not be measured "
    "counts as not measured, never as comfortable."
)

STATES_MEAN = (
    "In comfort: every wrist angle had a number whose whole 90 % interval lay inside the comfort limits. "
    "Unsure: an interval reached past a limit. Past comfort, extreme: the measured angle lay beyond that "
    "limit; how much of that is certain stands in the table of wrist angles. "
    "Partly seen: some angle could not be measured. Not seen: none could."
)

COLUMNS_MEAN = (
    "Median: half of the measured time the angle was above it, half below; for four fifths of that time it lay "
    "in the range in brackets; after ±, how far the 90 % interval mostly reached. Shares are "
    "of the measured time. Of it certain: past the extreme limit with a "
    "probability of at least 90 %. Longest past extreme: in one hold. A dash: no such time."
)

PICTURED = "This report shows pictures of the player: pass it on only to those it is meant for."

WARNING_MEANS = (
    "▼ a warning: an angle was held past its extreme limit for long enough (3 s unless the player set it "
    "otherwise)."
)

ISB = (
    "Angles as the International Society of Biomechanics defines them (Wu et al. 2005, J Biomech "
    "38:981-992): the hand, from the wrist to the knuckle at the base of the middle finger, against the "
    "forearm. Flexion and ulnar deviation are positive, extension and radial deviation negative, for both "
    "hands alike; at 0 the hand is in line with the forearm."
)


def percent(share: float | None) -> str:
    """A share in whole percent; what is there is never 0 %."""
    if share is None:
        return "–"
    if 0 < share < 0.005:
        return "<\u00a01\u00a0%"
    return f"{100 * share:.0f}\u00a0%"


def duration(seconds: float | None) -> str:
    """In the units in which one would say it."""
    if seconds is None:
        return "–"
    if seconds < 10:
        return decimal(f"{seconds:.1f}") + "\u00a0s"
    whole = round(seconds)
    if whole < 120:
        return f"{whole}\u00a0s"
    minutes = round(whole / 60)
    return f"{minutes}\u00a0min" if minutes < 120 else f"{minutes // 60} h {minutes % 60:02d} min"


def clock(seconds: float) -> str:
    """A moment of a practice: m:ss, or h:mm:ss."""
    whole = int(seconds)
    hours, minutes, rest = whole // 3600, whole // 60 % 60, whole % 60
    return f"{hours}:{minutes:02d}:{rest:02d}" if hours else f"{minutes}:{rest:02d}"


def signed(value: float) -> str:
    """A signed angle in whole degrees, with a true minus."""
    whole = round(value)
    return f"+{whole}°" if whole > 0 else f"−{-whole}°" if whole < 0 else "0°"


def angle_text(value: float | None) -> str:
    """A limit or another magnitude, in degrees."""
    return "–" if value is None else decimal(f"{value:.1f}".removesuffix(".0")) + "°"


def spread_text(angle: Angle) -> str:
    """Its percentiles in one line."""
    if angle.percentiles is None:
        return say("not measured")
    low, middle, high = (signed(one) for one in angle.percentiles)
    said = say("{middle} ({low} to {high})", middle=middle, low=low, high=high)
    # Percentiles of a still hand lie close to each other, however little its angle is known.
    return said if angle.half_deg is None else f"{said}; ±{round(angle.half_deg)}°"


def _warnings(count: int) -> str:
    if count == 0:
        return say("No warnings")
    return say("1 warning") if count == 1 else say("{count} warnings", count=count)


def _unwarned(count: int) -> str:
    if count == 1:
        return say("No warnings, but 1 hold past an extreme limit")
    return say("No warnings, but {count} holds past an extreme limit", count=count)


def headline(warnings: int, unwarned: int, hands: Sequence[Hand]) -> tuple[str, bool]:
    """How many warnings, of how much measured time; and whether that is too little to say anything good.

    The time is that of the watched hand's angle that was measured least, and that in which the hand could be judged,
    being in comfort or past a limit for sure: what could not be seen, or not for sure, is never good.
    """
    said = _unwarned(unwarned) if warnings == 0 and unwarned else _warnings(warnings)
    angles = [(angle, hand) for hand in hands if hand.watched for angle in hand.angles]
    if not angles or all(angle.measured_s == 0 for angle, _ in angles):
        return say("{said}; no wrist was measured: too little to say.", said=said), True
    least, hand = min(angles, key=lambda one: one[0].measured_share)
    judged = min(least.measured_share, *(one.judged_share for one in hands if one.watched))
    told = say(
        "{said}; {angle} of the {hand} measured {share} of the time, certain enough to judge the hand {judged} of the "
        "time",
        said=said,
        angle=least.label,
        hand=hand.label,
        share=percent(least.measured_share),
        judged=percent(judged),
    )
    little = judged < ENOUGH_SHARE
    if little and warnings == 0:
        return say("{told}: too little to say.", told=told), little
    return say("{told}.", told=told), little


def sided(side: str, words: str) -> str:
    """What a hand does, with its side: "left wrist bent in"."""
    return say("{side} {words}", side=say(side), words=say(words))


def finding_text(one: Mapping[str, Any]) -> str:
    """The finding of a practice in a sentence: in English the one that was kept."""
    if spoken() == "en":
        return str(one["sentence"])
    values = {
        "what": capital(sided(one["side"], quantity(one["quantity"]).leaning(one["direction"]))),
        "share": percent(one["share"]),
        "where": ", ".join(part for part in (one["piece"], one["part"]) if part),
        "limit": angle_text(one["limit_deg"]) if "limit_deg" in one else f"{one['limit_mm']:g} mm",
    }
    if one["highest_elsewhere"] is None:
        return say(
            "{what}: in {share} of {where} past {limit}; otherwise in {elsewhere}.",
            elsewhere=percent(one["share_elsewhere"]),
            **values,
        )
    return say(
        "{what}: in {share} of {where} past {limit}; nowhere else in more than {nowhere}.",
        nowhere=percent(max(0.01, one["highest_elsewhere"])),
        **values,
    )


def next_step(document: Mapping[str, Any], hands: Sequence[Hand]) -> str:
    """The kind of hold that was longest past its limit in all, where no passage stands out, and where hardly anything
    could be judged, that the camera comes first; as on the page."""
    watched = [hand for hand in hands if hand.watched]
    hardly_judged = ""
    if watched and min(hand.judged_share for hand in watched) < ENOUGH_SHARE:
        hardly_judged = say("Most of the time the angles were too uncertain to judge; help the camera first.")
    for level in ("extreme", "comfort"):
        kinds: dict[tuple[str, str, str], list[tuple[float, float]]] = {}
        for one in document["excursions"]:
            if one["hold"] and one["level"] == level and quantity(one["quantity"]).group == "wrist":
                key = (one["side"], one["quantity"], one["direction"])
                kinds.setdefault(key, []).append((one["past_s"] or 0.0, one["start_s"]))
        if kinds:
            (side, name, direction), holds = max(
                kinds.items(), key=lambda item: sum(long for long, _ in item[1])
            )
            long_s, at_s = max(holds)
            values = {
                "what": sided(side, quantity(name).leaning(direction)),
                "limit": say(f"{level} limit"),
                "time": duration(long_s),
                "at": clock(at_s),
            }
            said = say("The {what}: past the {limit} once, for {time}, from {at}.", **values)
            if len(holds) > 1:
                said = say(
                    "The {what}: past the {limit} {count} times, the longest for {time}, from {at}.",
                    count=len(holds),
                    **values,
                )
            return f"{capital(said)} {hardly_judged}".strip()
    if not any(angle.measured_share >= ENOUGH_SHARE for hand in watched for angle in hand.angles):
        return say("Too little was measured to say what to work on; help the camera first.")
    return hardly_judged or _nothing_held(hands)


def _nothing_held(hands: Sequence[Hand]) -> str:
    """Of each hand by itself: one that could be judged says nothing of the other."""
    said = []
    for hand in hands:
        name = say(f"{hand.side} hand")
        if hand.judged_share >= ENOUGH_SHARE:
            said.append(
                say(
                    "No hold past a limit was found of the {hand}, in the {share} of the time in which it could be "
                    "judged.",
                    hand=name,
                    share=percent(hand.judged_share),
                )
            )
        else:
            said.append(say("Of the {hand} too little could be judged to say.", hand=name))
    return " ".join(capital(one) for one in said)


def view_sentence(hands: Sequence[Hand]) -> str:
    """How well the camera saw the watched hand, and what would help most."""
    angles = [angle for hand in hands if hand.watched for angle in hand.angles]
    if not angles:
        return say("No hand was recorded.")
    least = min(angles, key=lambda one: one.measured_share)
    share = least.measured_share
    how = "good" if share >= 0.8 else "fair" if share >= ENOUGH_SHARE else "poor"
    told = f"The view was {how}: {{angle}} was measured {{share}} of the time."
    said = say(told, angle=least.label, share=percent(share))
    if share >= 0.8 or not least.reasons:
        return said + _unsure(hands)
    reason, seconds = least.reasons[0]
    helps = {one.value: one.help for one in Refusal}.get(reason)
    rest = say("Most of the rest: {reason} ({time}).", reason=say(reason), time=duration(seconds))
    return f"{said} {rest}{'' if helps is None else ' ' + say(helps)}{_unsure(hands)}"


def _unsure(hands: Sequence[Hand]) -> str:
    """A good view alone reassures nobody: how long a watched hand with limits was unsure, where that was much."""
    shares = [
        hand.states_s.get("unsure", 0.0) / hand.total_s
        for hand in hands
        if hand.watched and hand.total_s > 0
        if any(one.comfort or one.extreme for angle in hand.angles for one in angle.beyond)
    ]
    if max(shares, default=0.0) < _MUCH_UNSURE:
        return ""
    return " " + say(
        "In {share} of the time an angle was too near a limit, for how exact it is, to say on which side of it: "
        "this counts as unsure, never as comfortable.",
        share=percent(max(shares)),
    )


def how_sure(hands: Sequence[Hand]) -> str:
    """What the uncertainty of these numbers is, with how far the intervals reached for the watched hand."""
    halves = [
        angle.half_deg
        for hand in hands
        if hand.watched
        for angle in hand.angles
        if angle.half_deg is not None
    ]
    if not halves:
        return say(HOW_SURE)
    low, high = round(min(halves)), round(max(halves))
    reach = f"{low}" if low == high else say("{low} to {high}", low=low, high=high)
    here = say("In this practice the interval mostly reached {reach}° to either side.", reach=reach)
    return f"{say(HOW_SURE)} {here}"


def moment_text(one: Moment) -> str:
    """What is seen at a moment, with its uncertainty in plain words."""
    limit = one.extreme if one.level == "extreme" else one.comfort
    said = say("{value} at its peak", value=signed(one.value))
    name = say(f"{one.level} limit")
    if one.sd is not None:
        half = INTERVAL_SD * one.sd
        low, high = signed(one.value - half), signed(one.value + half)
        said += say(", probably between {low} and {high}", low=low, high=high)
        if limit is not None and abs(one.value) - half < limit:
            said += say(
                "; it may have been inside the {limit} of {value}", limit=name, value=angle_text(limit)
            )
        elif limit is not None:
            said += say("; beyond the {limit} of {value} all the same", limit=name, value=angle_text(limit))
    past = "" if one.past_s is None else " " + say("Past it for {time} in all.", time=duration(one.past_s))
    return f"{said}.{past}{' ' + say('There was a warning.') if one.warned else ''}"


def drawn_text(moments: Sequence[Moment]) -> str:
    """What the drawings and pictures of moments show."""
    said = say(
        "Drawn: thick, forearm and hand at the peak; grey, the 90 % interval; thin, the extreme limit, and dotted, "
        "that of comfort."
    )
    if any(one.lines for one in moments):
        said += " " + say(
            "In the pictures: dashed and blue, the forearm, solid and yellow, the hand, as they are seen in that one "
            "picture; a camera foreshortens, so the measured angle cannot be read off there."
        )
    return said


def moment_when(report: Report, one: Moment) -> str:
    """When it was, with the practice where there are several."""
    said = say("{at} after the beginning", at=clock(one.time_s))
    return said if len(report.practices) == 1 else f"{said}, {one.when}"


def title(report: Report) -> str:
    """What it is of."""
    count = len(report.practices)
    first, last = report.practices[0].when, report.last.when
    if count == 1:
        return say("Wrist posture in the practice of {when}", when=last)
    first, last = first.split(",")[0], last.split(",")[0]
    if first == last:
        return say("Wrist posture in {count} practices of {when}", count=count, when=last)
    return say("Wrist posture in {count} practices, {first} to {last}", count=count, first=first, last=last)


def discomfort_text(one: Discomfort) -> str:
    """What the player said of how it felt, in one line."""
    said = say(f"discomfort {one.moment} playing {{rating}} of 10", rating=one.rating)
    if one.places:
        said += f" ({', '.join(one.places)})"
    if one.signs:
        said += say("; warning signs: {signs}", signs=", ".join(one.signs))
    return f"{said}. {one.note}".strip() if one.note else f"{said}."
