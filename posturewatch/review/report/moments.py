"""The worst moments of practices: those longest past a limit, with a picture where a clip was kept."""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from posturewatch.clips.picture import picture_at
from posturewatch.model.observation import Side
from posturewatch.model.quantities import quantity
from posturewatch.review.report.content import Moment
from posturewatch.review.report.language import say
from posturewatch.storage.reader import SessionRecord

__all__ = ["MOST_MOMENTS", "worst_moments"]

_LOG = logging.getLogger(__name__)

MOST_MOMENTS = 3

#: Moments of one hand nearer than this are one.
_APART_S = 5.0

#: A peak's own sample is no further from it than the rounding of times.
_NEAR_S = 0.05

_WIDTH_PX = 960

#: The longest film that goes into a report; longer ones would make it too large to send.
_CLIP_BYTES = 12_000_000


#: Where the file of a clip lies, by its number; None where it is gone.
ClipPath = Callable[[int], "Path | None"]


def worst_moments(
    records: Sequence[SessionRecord],
    documents: Sequence[Mapping[str, Any]],
    whens: Sequence[str],
    labels: Callable[[SessionRecord], Mapping[Side, str]],
    path_of: ClipPath,
    *,
    clips: bool,
    draw: Callable[[bytes, Side], bytes | None] | None,
) -> tuple[Moment, ...]:
    """At most three of all practices, in order of time: of holds past an extreme limit those that were warned of first,
    then the longest; past a comfort limit only where there are none past an extreme one."""
    found = [
        (record, document, when, one)
        for record, document, when in zip(records, documents, whens, strict=True)
        for one in document["excursions"]
        if one["hold"] and quantity(one["quantity"]).group == "wrist"
    ]
    for level in ("extreme", "comfort"):
        own = [each for each in found if each[3]["level"] == level]
        if own:
            return tuple(
                _moment(*each, labels(each[0])[each[3]["side"]], path_of, clips=clips, draw=draw)
                for each in _chosen(own)
            )
    return ()


_Found = tuple[SessionRecord, Mapping[str, Any], str, Mapping[str, Any]]


def _past_s(each: _Found) -> float:
    return float(each[3]["past_s"] or 0.0)


def _filmed(each: _Found) -> bool:
    _, document, _, one = each
    return any(clip["start_s"] <= one["peak_s"] < clip["end_s"] for clip in document["clips"])


def _chosen(found: Sequence[_Found]) -> list[_Found]:
    chosen: list[_Found] = []
    newest = sorted(found, key=lambda each: each[0].info.started_at, reverse=True)
    # To the second: of holds that are as long as each other, those with a picture, and the newest.
    for each in sorted(
        newest, key=lambda each: (each[3]["warned_s"] is None, -round(_past_s(each)), not _filmed(each))
    ):
        near = any(
            each[0] is other[0]
            and each[3]["side"] == other[3]["side"]
            and abs(each[3]["peak_s"] - other[3]["peak_s"]) < _APART_S
            for other in chosen
        )
        if not near:
            chosen.append(each)
        if len(chosen) == MOST_MOMENTS:
            break
    return sorted(chosen, key=lambda each: (each[0].info.started_at, each[3]["start_s"]))


def _moment(
    record: SessionRecord,
    document: Mapping[str, Any],
    when: str,
    one: Mapping[str, Any],
    hand: str,
    path_of: ClipPath,
    *,
    clips: bool,
    draw: Callable[[bytes, Side], bytes | None] | None,
) -> Moment:
    entry = quantity(one["quantity"])
    band = record.limits.of(one["side"]).bands[one["quantity"], one["direction"]]
    played = next(
        (
            each
            for each in document["passages"]
            if each["start_s"] <= one["peak_s"] < (each["end_s"] or np.inf)
        ),
        None,
    )
    picture, film = _seen(path_of, document["clips"], one, clips=clips)
    drawn = None if picture is None or draw is None else draw(picture, one["side"])
    return Moment(
        when=when,
        time_s=one["start_s"],
        side=one["side"],
        hand=hand,
        quantity=one["quantity"],
        label=say(entry.label),
        direction=one["direction"],
        words=say(entry.leaning(one["direction"])),
        value=one["peak"],
        sd=_sd_at(record, one),
        level=one["level"],
        comfort=None if band.comfort is None else band.comfort.value,
        extreme=None if band.extreme is None else band.extreme.value,
        past_s=one["past_s"],
        warned=one["warned_s"] is not None,
        passage=""
        if played is None
        else ", ".join(part for part in (played["piece"], played["bars"]) if part),
        picture=picture if drawn is None else drawn,
        lines=drawn is not None,
        clip=film,
    )


def _sd_at(record: SessionRecord, one: Mapping[str, Any]) -> float | None:
    """The standard deviation of the sample at the peak; None where it cannot be read any more."""
    for series in record.series:
        if (series.side, series.quantity) == (one["side"], one["quantity"]):
            near = np.flatnonzero(series.measured & (np.abs(series.time_s - one["peak_s"]) <= _NEAR_S))
            if near.size:
                return float(series.sd[near[np.argmin(np.abs(series.value[near] - one["peak"]))]])
    return None


def _seen(
    path_of: ClipPath, clips_of: Sequence[Mapping[str, Any]], one: Mapping[str, Any], *, clips: bool
) -> tuple[bytes | None, bytes | None]:
    """A picture at the peak, or else at the beginning, and the clip it is from, where it is asked for."""
    for second in (one["peak_s"], one["start_s"]):
        for clip in clips_of:
            path = path_of(clip["id"]) if clip["start_s"] <= second < clip["end_s"] else None
            if path is not None:
                picture = picture_at(path, second - clip["start_s"], _WIDTH_PX)
                return picture, _film(path) if clips and picture is not None else None
    return None, None


def _film(path: Path) -> bytes | None:
    try:
        return path.read_bytes() if path.stat().st_size <= _CLIP_BYTES else None
    except OSError as error:
        _LOG.warning("the clip %s does not go with the report: %s", path, error)
        return None
