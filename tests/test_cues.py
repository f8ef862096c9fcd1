"""Cues of the fingers, from series whose postures are put there on purpose."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.stats import norm
from session_factories import LIMITS

from posturewatch.comfort.cues import CUES, CueRules, cues_present
from posturewatch.comfort.exceedance import CERTAIN
from posturewatch.comfort.limits import LimitProfile
from posturewatch.exposure.cue_series import STILL, cue_series, finger_series, shares_json
from posturewatch.exposure.series import SampleSeries
from posturewatch.model.measurement import HandMeasurement, Measurement, Refusal
from posturewatch.model.quantities import QUANTITY_NAMES

RATE_HZ = 10.0
END_S = 60.0
COUNT = round(END_S * RATE_HZ)
TIME_S = np.arange(COUNT) / RATE_HZ
EVERY = (*(one.cue for one in CUES), STILL)
FINGERS = ("index", "middle", "ring", "little")

Given = Mapping[str, "float | NDArray[Any]"]


def one(name: str, value: float | NDArray[Any], sd: float, side: str = "left") -> SampleSeries:
    values = np.broadcast_to(np.asarray(value, dtype=float), (COUNT,)).copy()
    refused = np.isnan(values)
    code = 1 + list(Refusal).index(Refusal.TOO_UNCERTAIN)
    return SampleSeries(
        side,  # type: ignore[arg-type]
        name,
        TIME_S,
        values,
        np.where(refused, np.nan, sd),
        np.where(refused, code, 0).astype(np.uint8),
    )


def playing(given: Given = {}, sd: float = 1.0, side: str = "left") -> list[SampleSeries]:  # noqa: B006
    """Index and middle finger go up and down by turns, ring and little finger stay down, all joints rounded; with
    what is given instead."""
    up = 10.0 * (np.sin(2 * np.pi * TIME_S / 1.5) > 0)
    values: dict[str, float | NDArray[Any]] = {
        "index_lift": up,
        "middle_lift": 10.0 - up,
        "ring_lift": 0.0,
        "little_lift": 0.0,
    }
    values |= {f"{finger}_pip": 50.0 for finger in FINGERS} | {f"{finger}_dip": 25.0 for finger in FINGERS}
    values |= given
    return [one(name, value, sd, side) for name, value in values.items()]


def shares(
    made: list[SampleSeries],
    *,
    fretting: bool = True,
    windows: tuple[tuple[float, float], ...] = ((0.0, END_S),),
) -> dict[str, dict[str, Any]]:
    fingers = finger_series(made, "left", END_S, 0.25)
    assert fingers is not None
    shown = shares_json(cue_series(fingers, LIMITS, fretting=fretting), *windows)
    return {share["cue"]: share for share in shown}


def test_rounded_fingers_that_play_show_no_cue() -> None:
    shown = shares(playing())
    assert set(shown) == {cue.name for cue in EVERY if not cue.name.startswith(("thumb", "little_spread"))}
    for share in shown.values():
        assert (share["certain_s"], share["share"]) == (0.0, pytest.approx(0.0, abs=0.02))


@pytest.mark.parametrize(
    ("given", "cue"),
    [
        ({"ring_dip": -20.0}, "ring_end_joint_back"),
        ({"little_lift": 30.0, "little_pip": 5.0}, "little_straight_and_high"),
        ({"little_lift": 20.0, "little_pip": 100.0}, "little_tucked"),
        ({"little_lift": 20.0, "little_spread": 30.0}, "little_spread_away"),
        ({"thumb_place": 5.0, "thumb_ip": 10.0}, "thumb_opposite"),
        ({"thumb_ip": 50.0, "thumb_place": 50.0}, "thumb_hooked"),
        ({"thumb_ip": -20.0}, "thumb_back"),
    ],
)
def test_a_posture_that_is_there_is_shown_and_no_other(given: Given, cue: str) -> None:
    shown = shares(playing(given))
    assert {name for name, share in shown.items() if (share["certain_share"] or 0) > 0.01} == {cue}
    assert shown[cue]["certain_share"] == pytest.approx(1.0, abs=0.01)
    assert shown[cue]["share_of"] == "playing time"


def test_an_end_joint_counts_only_while_the_finger_is_down() -> None:
    back = shares(playing({"index_dip": -20.0}))["index_end_joint_back"]
    # The index finger is down half of the time.
    assert back["share"] == pytest.approx(0.5, abs=0.03)
    assert shares(playing({"index_dip": -20.0, "index_lift": 30.0}))["index_end_joint_back"]["share"] < 0.01


def test_a_finger_is_high_only_while_another_is_down() -> None:
    all_up = {f"{finger}_lift": 30.0 + 3 * np.sin(3 * TIME_S) for finger in FINGERS}
    shown = shares(playing({**all_up, "little_pip": 5.0}))
    assert shown["little_straight_and_high"]["share"] < 0.01


def test_a_finger_is_high_while_another_is_down_though_a_third_is_never_measured() -> None:
    given = {"index_lift": 30.0, "index_pip": 5.0, "middle_lift": np.nan, "little_lift": np.nan}
    ring = 10.0 * (np.sin(2 * np.pi * TIME_S / 1.5) > 0)  # up and down by turns
    shown = shares(playing({**given, "ring_lift": ring}))["index_straight_and_high"]
    assert shown["share"] == pytest.approx(0.5, abs=0.03)
    # Of none of the others anything is known.
    assert "index_straight_and_high" not in shares(playing({**given, "ring_lift": np.nan}))


def test_the_probability_is_that_of_independent_normal_errors() -> None:
    sd = 6.0
    made = playing({"ring_dip": -9.0, "ring_lift": 4.0}, sd)
    fingers = finger_series(made, "left", END_S, 0.25)
    assert fingers is not None
    (one_cue,) = [
        c for c in cue_series(fingers, LIMITS, fretting=True) if c.cue.name == "ring_end_joint_back"
    ]
    # scipy: beyond 5 degrees backwards (the profile's comfort limit) and no more than 6 mm up.
    expected = norm.cdf((-5.0 + 9.0) / sd) * norm.cdf((6.0 - 4.0) / sd)
    assert one_cue.present == pytest.approx(np.full(COUNT, expected), abs=1e-6)
    # Likely, but at no moment certain.
    share = one_cue.over((0.0, END_S))
    assert share.share == pytest.approx(expected, abs=1e-6)
    assert share.certain_share == 0.0


def test_what_is_not_known_is_left_out_of_the_share() -> None:
    half = np.where(TIME_S < 30.0, -20.0, np.nan)
    share = shares(playing({"ring_dip": half}))["ring_end_joint_back"]
    assert share["share"] == pytest.approx(1.0, abs=0.01)
    # The first seconds do not yet tell whether the hand plays.
    assert 20.0 < share["known_s"] <= 30.0
    without = [entry for entry in playing() if entry.quantity != "ring_lift"]
    assert "ring_end_joint_back" not in shares(without)


def test_thumb_cues_are_for_the_hand_that_frets() -> None:
    made = playing({"thumb_ip": 50.0, "thumb_place": 0.0})
    assert "thumb_hooked" in shares(made)
    assert not any(name.startswith("thumb") for name in shares(made, fretting=False))


def test_a_hand_whose_joints_are_poorly_known_is_never_called_still() -> None:
    made = [one(entry.quantity, np.zeros(COUNT), 6.0) for entry in playing()]
    assert "still" not in shares(made)
    sharper = [one(entry.quantity, np.zeros(COUNT), 3.0) for entry in playing()]
    assert "still" in shares(sharper)


@pytest.mark.parametrize("sd", [1.0, 4.5])
def test_fingers_that_move_no_more_are_still_after_twenty_seconds(sd: float) -> None:
    rng = np.random.default_rng(5)
    # What is new in every picture is a fifth of the stated variance (`kinematics.temporal_estimator`).
    made = [
        one(
            entry.quantity,
            np.where(TIME_S < 20.0, entry.value, 0.0) + rng.normal(0, sd * np.sqrt(0.2), COUNT),
            sd,
        )
        for entry in playing()
    ]
    shown = shares(made, windows=((0.0, 19.0),))["still"]
    assert (shown["certain_share"], shown["share_of"]) == (0.0, "seen time")
    later = shares(made, windows=((45.0, END_S),))["still"]
    assert later["share"] > 0.5
    if sd < 2:
        assert later["certain_share"] == 1.0


def test_single_strokes_with_pauses_are_not_still() -> None:
    # A stroke of 12 degrees for half a second in every four, of which an estimate that leans towards the middle shows
    # two thirds; its standard deviation is that of any variable with two values.
    stroke = np.where(TIME_S % 4.0 < 0.5, 12.0, 0.0) * 2 / 3
    assert np.std(stroke) == pytest.approx(8 * np.sqrt(1 / 8 * 7 / 8), abs=0.1)
    shown = shares([one(entry.quantity, stroke, 4.0) for entry in playing()])
    assert shown["still"]["certain_share"] == 0.0


def test_time_without_movement_is_no_playing_time() -> None:
    quiet = dict.fromkeys(("index_lift", "middle_lift"), 0.0) | {"ring_dip": -20.0}
    shown = shares(playing(quiet))
    assert shown["still"]["certain_share"] > 0.5
    assert shown.get("ring_end_joint_back", {"known_s": 0.0})["known_s"] == pytest.approx(0.0, abs=0.1)


def test_windows_are_taken_together() -> None:
    made = playing({"ring_dip": np.where(TIME_S < 40.0, 25.0, -20.0)})
    fingers = finger_series(made, "left", END_S, 0.25)
    assert fingers is not None
    (one_cue,) = [
        c for c in cue_series(fingers, LIMITS, fretting=True) if c.cue.name == "ring_end_joint_back"
    ]
    assert one_cue.over((20.0, 40.0)).share == pytest.approx(0.0, abs=0.01)
    assert one_cue.over((20.0, 30.0), (40.0, 60.0)).share == pytest.approx(2 / 3, abs=0.02)
    with pytest.raises(ValueError, match="windows"):
        one_cue.over((20.0, 30.0), (25.0, 40.0))


def test_a_hand_without_fingers_has_none() -> None:
    assert finger_series([], "left", 1.0, 0.25) is None
    assert finger_series(playing(side="right"), "left", END_S, 0.25) is None


def test_findings_name_fingers_as_players_of_strings_do() -> None:
    fingers = finger_series(playing({"little_lift": 30.0, "little_pip": 5.0}), "left", END_S, 0.25)
    assert fingers is not None
    found_cues = {one.cue.name: one for one in cue_series(fingers, LIMITS, fretting=True)}
    high = found_cues["little_straight_and_high"]
    assert high.posture(fretting=True).text == "the fourth finger held straight and high"
    assert high.posture(fretting=False).text == "the little finger held straight and high"
    assert (
        found_cues["index_end_joint_back"].posture(fretting=True).text
        == "the first finger's end joint bent backwards"
    )


def test_no_cue_speaks_of_tension_or_force() -> None:
    for cue in EVERY:
        assert not any(
            word in f"{cue.name} {cue.label} {cue.posture}" for word in ("tens", "forc", "stiff", "press")
        )
    assert len({cue.name for cue in EVERY}) == len(EVERY)


def test_rules_without_a_limit_in_the_profile_fall_back() -> None:
    fingers = finger_series(playing({"ring_dip": -7.0}, 0.5), "left", END_S, 0.25)
    assert fingers is not None
    none = LimitProfile("t", "t", "t", {key: type(band)() for key, band in LIMITS.bands.items()})
    for rules, expected in ((CueRules(), 1.0), (CueRules(collapse_deg=12.0), 0.0)):
        found_cues = {one.cue.name: one for one in cue_series(fingers, none, fretting=True, rules=rules)}
        assert found_cues["ring_end_joint_back"].over((0.0, END_S)).share == pytest.approx(expected, abs=0.01)


def test_a_single_frame_shows_the_cues_of_that_moment_of_the_series() -> None:
    """Drawn at random, with gaps: in each frame those which are certain in the series, less what takes time."""
    random = np.random.default_rng(4)
    lifts = {f"{finger}_lift": random.choice([0.0, 12.0, 30.0, np.nan], COUNT) for finger in FINGERS}
    joints = {f"{finger}_dip": random.choice([-25.0, 20.0, np.nan], COUNT) for finger in FINGERS}
    given: Given = {
        **lifts,
        **joints,
        "little_pip": random.choice([5.0, 50.0, 110.0], COUNT),
        "thumb_ip": 50.0,
    }
    made = playing(given, sd=3.0)
    found = finger_series(made, "left", END_S, 0.25)
    assert found is not None
    found_cues = [one for one in cue_series(found, LIMITS, fretting=True) if one.cue.finger is not None]
    seen = set()
    for at in range(0, COUNT, 7):
        values = dict(HandMeasurement.refused("left", QUANTITY_NAMES, Refusal.TOO_UNCERTAIN).values)
        values |= {
            series.quantity: Measurement.of(series.value[at], 3.0)
            for series in made
            if np.isfinite(series.value[at])
        }
        shown = cues_present(HandMeasurement("left", values), LIMITS, fretting=True)
        assert shown == tuple(one.cue for one in found_cues if one.present[at] >= CERTAIN)
        seen |= {cue.name for cue in shown}
    assert {"ring_end_joint_back", "little_straight_and_high", "little_tucked", "thumb_hooked"} <= seen
    other = cues_present(HandMeasurement("left", values), LIMITS, fretting=False)
    assert [cue.name for cue in shown if cue not in other] == ["thumb_hooked"]


def test_nothing_is_shown_of_a_hand_that_is_not_seen() -> None:
    unseen = HandMeasurement.refused("left", QUANTITY_NAMES, Refusal.HAND_NOT_SEEN)
    assert cues_present(unseen, LIMITS, fretting=True) == ()
