"""The exposure of a kept session's series: computed in one place for its summary and its review."""

from __future__ import annotations

from posturewatch.exposure.exposure_series import ExposureSeries
from posturewatch.exposure.rules import ExposureRules
from posturewatch.model.quantities import QUANTITY_NAMES
from posturewatch.storage.reader import SessionRecord

__all__ = ["REVIEW_VERSION", "session_exposures"]

#: Raise it when the computation or its JSON changes: what was kept by an older one is computed anew.
REVIEW_VERSION = 6


def session_exposures(record: SessionRecord) -> tuple[ExposureSeries, ...]:
    """Every series of the session that has samples, judged by its own limits and rules; none without time.

    Raises
    ------
    ValueError
        For times out of order.
    """
    if record.info.end_s <= 0:
        return ()
    rules = ExposureRules(watch=record.rules)
    return tuple(
        ExposureSeries(one, record.limits, rules=rules)
        for one in record.series
        if one.quantity in QUANTITY_NAMES and one.time_s.size
    )
