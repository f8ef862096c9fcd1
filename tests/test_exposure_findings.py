"""The next thing to work on: found where it is, and not said where the data do not carry it."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from exposure_series import FLEX, make_series, profile
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from posturewatch.comfort.exceedance import exceedance_probability
from posturewatch.comfort.limits import LimitProfile
from posturewatch.exposure.autocorrelation import autocorrelation_time
from posturewatch.exposure.exposure_series import ExposureSeries
from posturewatch.exposure.findings import Finding, FingerPosture, next_to_work_on
from posturewatch.exposure.passages import Passage, outside
from posturewatch.exposure.standing_out import FindingRules
from posturewatch.model.observation import Side

RATE_HZ = 12.0
FIRST, SECOND, THIRD = (
    Passage("a", "Nocturne sketch", "bars 1-11", ((0.0, 60.0),)),
    Passage("b", "Nocturne sketch", "bars 12-16", ((60.0, 120.0),)),
    Passage("c", "Scale study", "", ((120.0, 180.0),)),
)
PASSAGES = (FIRST, SECOND, THIRD)


def played(
    shares: Sequence[float],
    *,
    beyond: float = 52.0,
    otherwise: float = 5.0,
    period_s: float = 5.0,
    length_s: float = 60.0,
    sd: float = 3.0,
    side: Side = "left",
    limits: LimitProfile | None = None,
) -> ExposureSeries:
    """Passages of length_s after one another; in each period of each, that share of it is spent beyond."""
    time_s = np.arange(round(len(shares) * length_s * RATE_HZ)) / RATE_HZ
    share = np.array(shares)[np.minimum((time_s / length_s).astype(int), len(shares) - 1)]
    values = np.where(time_s % period_s < share * period_s, beyond, otherwise)
    return ExposureSeries(
        make_series(time_s, values, sd=sd, side=side), profile() if limits is None else limits
    )


def found_in(
    *several: ExposureSeries, passages: Sequence[Passage] = PASSAGES, end_s: float = 180.0
) -> Finding | None:
    return next_to_work_on(several, passages, end_s)


def test_the_passage_that_stands_out() -> None:
    """40 % of each five seconds in the second passage, none elsewhere, on the left; 4 % on the right."""
    found = found_in(played([0.0, 0.4, 0.0]), played([0.04, 0.04, 0.04], side="right"))
    assert found is not None
    assert found.sentence == (
        "Left wrist bent in (flexion) beyond 40 degrees for 40 % of “Nocturne sketch”, bars 12-16; "
        "nowhere else above 1 %."
    )
    assert (found.passage.id, found.side, found.quantity, found.direction, found.level) == (
        "b",
        "left",
        FLEX,
        "flexion",
        "extreme",
    )
    assert found.evidence.share == pytest.approx(0.4, abs=0.01)
    assert found.evidence.p_value < 0.01
    assert found.to_json()["limit_deg"] == 40.0
    json.dumps(found.to_json(), allow_nan=False)


def test_the_mirrored_hand_bends_back() -> None:
    found = found_in(played([0.0, 0.4, 0.0], beyond=-52.0, otherwise=-5.0))
    assert found is not None
    assert found.direction == "extension"
    assert found.sentence.startswith("Left wrist bent back (extension) beyond 40 degrees for 40 % of ")


def test_what_is_said_of_elsewhere_is_true_and_rounded_up() -> None:
    found = found_in(played([0.07, 0.5, 0.0]))
    assert found is not None
    assert found.evidence.highest is not None
    # 0.35 of five seconds are five of sixty samples.
    assert found.evidence.highest == pytest.approx(5 / 60, abs=0.002)
    assert found.sentence.endswith("nowhere else above 9 %.")


def test_a_comfort_limit_is_named_where_no_extreme_one_stands_out() -> None:
    found = found_in(played([0.0, 0.4, 0.0], beyond=30.0))
    assert found is not None
    assert (found.level, found.evidence.spread.limit) == ("comfort", 20.0)
    both = found_in(played([0.0, 0.0, 0.35]), played([0.0, 0.8, 0.0], beyond=30.0, side="right"))
    assert both is not None
    assert (both.level, both.passage.id) == ("extreme", "c")
    assert "of “Scale study”; nowhere" in both.sentence


@pytest.mark.parametrize(
    ("why", "series"),
    [
        ("alike everywhere", played([0.4, 0.4, 0.4])),
        ("another passage is nearly as bad", played([0.3, 0.4, 0.0])),
        ("another is more than half as bad", played([0.5, 0.95, 0.0])),
        ("too seldom", played([0.0, 0.08, 0.0])),
        ("never", played([0.0, 0.0, 0.0])),
        ("one long stay is one observation", played([0.0, 0.4, 0.0], period_s=60.0)),
        ("no limit, nothing beyond it", played([0.0, 0.4, 0.0], limits=profile(None, None))),
        ("played too briefly in all", played([0.0, 0.4, 0.0], length_s=19.0)),
    ],
)
def test_nothing_is_said(why: str, series: ExposureSeries) -> None:
    scale = series.time_s[-1] / 180.0
    passages: tuple[Passage, ...] = PASSAGES
    if scale < 0.9:
        passages = tuple(
            replace(one, windows=((19.0 * k, 19.0 * (k + 1)),)) for k, one in enumerate(PASSAGES)
        )
    assert found_in(series, passages=passages) is None, why


def test_many_unlikely_seconds_are_no_sure_one() -> None:
    """A degree beyond with a standard deviation of six, all the time, beside a few sure seconds elsewhere: if the
    error is the same throughout, none of it need be true."""
    sure = played([0.1, 0.0, 0.1])
    doubtful = (sure.time_s >= 60) & (sure.time_s < 120)
    values = np.where(doubtful, 41.0, sure.value)
    limits = profile(None, 40.0)
    assert found_in(ExposureSeries(make_series(sure.time_s, values, sd=6.0), limits)) is None
    assert found_in(ExposureSeries(make_series(sure.time_s, values, sd=0.5), limits)) is not None


def test_a_passage_held_beyond_from_end_to_end_is_named() -> None:
    found = found_in(played([0.0, 1.0, 0.0]))
    assert found is not None
    assert "for 100 % of “Nocturne sketch”, bars 12-16; nowhere else above" in found.sentence


def test_brief_episodes_in_one_burst_are_not_many_observations() -> None:
    """Sixteen stays of a second and a half: spread over the passage they carry it, in one burst they do not."""
    time_s = np.arange(180 * 12) / 12
    inside = (time_s >= 60) & (time_s < 120)
    spread = inside & (time_s % 3.75 < 1.5)
    burst = inside & (time_s < 92) & (time_s % 2 < 1.5)
    assert np.count_nonzero(spread) == np.count_nonzero(burst)
    found = [
        found_in(ExposureSeries(make_series(time_s, np.where(beyond, 52.0, 5.0), sd=3.0), profile()))
        for beyond in (spread, burst)
    ]
    assert found[0] is not None
    assert found[1] is None


def test_a_brief_passage_that_is_worse_forbids_saying_nowhere() -> None:
    """Eight seconds are too few to judge a passage by, but not to contradict."""
    made = played([0.0, 0.7, 0.9])
    brief = replace(THIRD, windows=((120.0, 128.0),))
    found = found_in(made, passages=(FIRST, SECOND, brief), end_s=128.0)
    assert found is not None
    assert found.evidence.highest is None
    # 4.5 + 3 of 68 s are 11 %.
    assert found.sentence.endswith("; 11 % in the rest of the session.")


def test_a_passage_mostly_unmeasured_is_not_judged() -> None:
    """Four fifths of 25 s are beyond, and the other 35 s may have been anything."""
    made = played([0.0, 0.8, 0.0])
    series = make_series(made.time_s, np.where((made.time_s > 85) & (made.time_s < 120), np.nan, made.value))
    assert found_in(ExposureSeries(series, profile())) is None
    assert found_in(made) is not None


def test_the_sentence_says_when_little_was_measured() -> None:
    made = played([0.0, 0.6, 0.0])
    series = make_series(made.time_s, np.where((made.time_s > 100) & (made.time_s < 120), np.nan, made.value))
    found = found_in(ExposureSeries(series, profile()))
    assert found is not None
    assert "of the 40 s that could be measured of “Nocturne sketch”, bars 12-16" in found.sentence


def test_a_place_that_was_not_measured_is_not_spoken_of() -> None:
    made = played([0.0, 0.6, 0.0])
    series = make_series(made.time_s, np.where(made.time_s >= 120, np.nan, made.value))
    found = found_in(ExposureSeries(series, profile()))
    assert found is not None
    assert found.evidence.highest is None
    assert found.sentence.endswith("; 0 % in the rest of the session.")


def test_nothing_to_compare_with() -> None:
    made = played([0.4, 0.4, 0.4])
    everything = (Passage("a", "Scale study", "", ((0.0, 180.0),)),)
    assert found_in(made, passages=everything) is None
    assert found_in(made, passages=()) is None
    assert next_to_work_on([], PASSAGES, 180.0) is None


def test_time_outside_every_passage_counts_as_elsewhere() -> None:
    made = played([0.0, 0.4, 0.4])
    assert found_in(made, passages=(SECOND,)) is None
    assert found_in(played([0.0, 0.4, 0.0]), passages=(SECOND,)) is not None


def test_passages_that_overlap_are_refused() -> None:
    other = Passage("d", "Scale study", "", ((100.0, 130.0),))
    with pytest.raises(ValueError, match="overlap"):
        found_in(played([0.0, 0.4, 0.0]), passages=(SECOND, other))


def test_outside() -> None:
    twice = Passage("a", "Scale study", "", ((5.0, 10.0), (20.0, 30.0)))
    assert outside([twice, Passage("b", "Scale study", "slow", ((10.0, 12.0),))], 40.0) == (
        (0.0, 5.0),
        (12.0, 20.0),
        (30.0, 40.0),
    )
    assert outside([twice], 25.0) == ((0.0, 5.0), (10.0, 20.0))
    assert outside([], 3.0) == ((0.0, 3.0),)


def test_the_finger_posture_that_goes_with_it() -> None:
    made = played([0.0, 0.4, 0.0])
    stretched = (made.value > 30).astype(float)
    always = np.ones_like(stretched)
    postures = (
        FingerPosture("left", "the fingers curled", made.time_s, always),
        FingerPosture("left", "the fourth finger stretched", made.time_s, stretched),
        FingerPosture("right", "the thumb behind the neck", made.time_s, stretched),
        FingerPosture("left", "the second finger lifted", made.time_s, stretched * np.nan),
    )
    found = next_to_work_on([made], PASSAGES, 180.0, postures=postures)
    assert found is not None
    assert found.posture is not None
    assert found.posture.text == "the fourth finger stretched"
    assert found.posture.share_beyond > 0.9
    assert found.posture.share_otherwise < 0.1
    assert ", bars 12-16, mostly with the fourth finger stretched; nowhere else" in found.sentence
    without = next_to_work_on([made], PASSAGES, 180.0, postures=postures[:1] + postures[2:])
    assert without is not None
    assert without.posture is None


def test_a_finger_posture_that_is_no_longer_known_is_not_carried_on() -> None:
    made = played([0.0, 0.4, 0.0])
    known = made.time_s <= 90.0
    stretched = (made.value > 30).astype(float)
    posture = FingerPosture("left", "the fourth finger stretched", made.time_s[known], stretched[known])
    found = next_to_work_on([made], PASSAGES, 180.0, postures=[posture])
    assert found is not None
    assert found.posture is not None
    assert found.posture.share_otherwise < 0.1


def test_passages_that_do_not_differ_are_seldom_told_apart() -> None:
    """Stays of four seconds in the mean that come and go at random, alike in all passages: of 40 such sessions
    of two hands, at most the error rate of 5 % may get a finding."""
    rng = np.random.default_rng(12)
    findings = 0
    for _ in range(40):
        several = []
        for side in ("left", "right"):
            lasting = rng.exponential(np.tile([20.0, 4.0], 40))
            edges = np.cumsum(lasting)
            time_s = np.arange(180 * 12) / 12
            inside = np.searchsorted(edges, time_s) % 2 == 1
            several.append(
                ExposureSeries(make_series(time_s, np.where(inside, 52.0, 5.0), sd=3.0, side=side), profile())
            )
        findings += found_in(*several) is not None
    assert findings <= 2


def in_a_row(count: int, length_s: float) -> tuple[Passage, ...]:
    return tuple(
        Passage(str(k), "Scale study", f"line {k}", ((k * length_s, (k + 1) * length_s),))
        for k in range(count)
    )


def test_a_small_excess_is_left_alone_however_sure() -> None:
    made, passages = played([0.06, 0.15, 0.06], length_s=600.0), in_a_row(3, 600.0)
    assert next_to_work_on([made], passages, 1800.0) is None
    assert next_to_work_on([made], passages, 1800.0, rules=FindingRules(excess=0.05)) is not None


def test_the_strongest_rival_has_to_be_beaten_with_certainty_too() -> None:
    """62 % in four stays, against 30 % in four of another passage: enough against all the rest together, too
    few to tell those two apart."""
    passages = in_a_row(6, 60.0)
    two = played([0.0, 0.62, 0.3, 0.0, 0.0, 0.0], period_s=15.0)
    assert next_to_work_on([two], passages, 360.0) is None
    alone = played([0.0, 0.62, 0.06, 0.06, 0.06, 0.06], period_s=15.0)
    assert next_to_work_on([alone], passages, 360.0) is not None


def test_a_hand_that_was_never_measured_is_passed_over() -> None:
    time_s = np.arange(1800) / 10.0
    unseen = ExposureSeries(make_series(time_s, np.full(1800, np.nan), side="right"), profile())
    empty = ExposureSeries(make_series([], []), profile())
    assert found_in(unseen, empty) is None
    found = found_in(unseen, empty, played([0.0, 0.4, 0.0]))
    assert found is not None
    assert found.side == "left"


def test_a_stricter_rule_says_no_more() -> None:
    made = played([0.0, 0.4, 0.0])
    for rules in (FindingRules(share=0.5), FindingRules(passage_s=61.0), FindingRules(error_rate=1e-9)):
        assert next_to_work_on([made], PASSAGES, 180.0, rules=rules) is None


@given(z=st.lists(st.floats(-40, 40), min_size=1, max_size=50), sd=st.floats(0.1, 30))
def test_chances_against_scipy(z: list[float], sd: float) -> None:
    magnitude = 40.0 + np.array(z) * sd
    found = exceedance_probability(40.0, magnitude, np.full(len(z), sd))
    assert found == pytest.approx(norm.sf(40.0, loc=magnitude, scale=sd), abs=1e-12)
    assert exceedance_probability(40.0, float(magnitude[0]), sd) == found[0]


@pytest.mark.parametrize("memory", [0.0, 0.5, 0.8])
def test_correlation_time_of_a_process_that_is_known(memory: float) -> None:
    """x[k] = memory x[k-1] + noise has the autocorrelation memory^lag, which sums to (1 + m) / (1 - m)."""
    rng = np.random.default_rng(9)
    noise = rng.normal(size=40_000)
    values = np.zeros_like(noise)
    for k in range(1, noise.size):
        values[k] = memory * values[k - 1] + noise[k]
    assert autocorrelation_time(values) == pytest.approx((1 + memory) / (1 - memory), rel=0.12)


def test_correlation_time_where_nothing_varies() -> None:
    assert (
        autocorrelation_time(np.zeros(50))
        == autocorrelation_time(np.zeros(0))
        == autocorrelation_time(np.ones(1))
        == 1.0
    )


@settings(max_examples=25, deadline=None)
@given(shares=st.lists(st.floats(0.0, 1.0), min_size=3, max_size=3))
def test_a_finding_keeps_its_promises(shares: list[float]) -> None:
    found = found_in(played(shares))
    if found is None:
        return
    rules, evidence = FindingRules(), found.evidence
    assert evidence.share >= max(rules.share, rules.ratio * evidence.share_elsewhere)
    assert evidence.highest is not None
    assert evidence.share >= evidence.highest + rules.excess
    assert evidence.p_value <= rules.error_rate
    assert found.passage.id == PASSAGES[int(np.argmax(shares))].id
