"""The table of quantities: what everything downstream takes from it."""

from __future__ import annotations

from typing import Any

import pytest

from posturewatch.comfort.limits import Band, Limit, LimitProfile
from posturewatch.comfort.rules import WatchRules
from posturewatch.comfort.watch import Watch
from posturewatch.model.estimator_outputs import OUTPUTS
from posturewatch.model.measurement import FrameMeasurement, HandMeasurement, Measurement, Refusal
from posturewatch.model.observation import FINGERS
from posturewatch.model.quantities import QUANTITIES, QUANTITY_NAMES, Quantity, in_group, quantity
from posturewatch.model.verdict import Excursion, HoldWarning
from posturewatch.storage.samples.sampling import Sampling


def test_the_wrist_comes_first_and_names_are_unique() -> None:
    assert [entry.group for entry in QUANTITIES] == ["wrist"] * 2 + ["finger"] * (len(QUANTITIES) - 2)
    assert len(set(QUANTITY_NAMES)) == len(QUANTITY_NAMES)
    assert (*in_group("wrist"), *in_group("finger")) == QUANTITIES
    with pytest.raises(ValueError, match="group"):
        in_group("toe")  # type: ignore[arg-type]


@pytest.mark.parametrize("entry", QUANTITIES, ids=lambda entry: entry.name)
def test_every_entry_is_whole(entry: Quantity) -> None:
    assert quantity(entry.name) is entry
    assert (entry.finger in FINGERS) == (entry.group == "finger")
    assert all(entry.leaning(direction) for direction in entry.directions)
    assert [entry.sign(direction) for direction in entry.directions] == [1, -1][: len(entry.directions)]
    # Stored numbers are divided by whole numbers.
    for step in (entry.value_step, entry.sd_step):
        assert 1 / step == pytest.approx(round(1 / step), abs=1e-9)
    with pytest.raises(ValueError, match="directions"):
        entry.sign("sideways")


@pytest.mark.parametrize(
    ("name", "value", "expected"),
    [
        ("wrist_flexion", -12.0, ("extension", 12.0)),
        ("index_dip", -8.0, ("collapse", 8.0)),
        ("index_lift", 9.0, ("lift", 9.0)),
        ("index_lift", -2.0, ("lift", 0.0)),  # below the plane is error, and no lift
    ],
)
def test_a_value_leans_one_way(name: str, value: float, expected: tuple[str, float]) -> None:
    assert quantity(name).towards(value) == expected


def test_the_learned_outputs_carry_the_lifts_and_joints() -> None:
    there = {f"{f}_{q}" for f in ("index", "middle", "ring", "little") for q in ("lift", "pip", "dip")}
    assert there <= {entry.output for entry in QUANTITIES} & set(OUTPUTS)


@pytest.mark.parametrize("rate_hz", [15.0, 29.97, 60.0])
def test_fingers_are_kept_ten_times_a_second_and_the_wrist_always(rate_hz: float) -> None:
    sampling = Sampling()
    due = [sampling.due(k / rate_hz) for k in range(round(20 * rate_hz))]
    assert all({"wrist_flexion", "wrist_ulnar_deviation"} <= names for names in due)
    kept = sum("index_lift" in names for names in due)
    assert kept == pytest.approx(200, abs=2)
    assert all(("index_lift" in names) == ("thumb_ip" in names) for names in due)


def limits() -> LimitProfile:
    band = Band(Limit(15.0, "made up", "D"), Limit(25.0, "made up", "D"))
    return LimitProfile("t", "t", "t", {(q.name, d): band for q in QUANTITIES for d in q.directions})


def held(
    rules: WatchRules, name: str, value: float, seconds: float
) -> tuple[list[Excursion], list[HoldWarning]]:
    """What a watch says of one quantity of the left hand that is held at a value."""
    watch = Watch(limits(), rules)
    opened: list[Excursion] = []
    fired: list[HoldWarning] = []
    for index in range(round(20 * seconds)):
        refused = HandMeasurement.refused("left", QUANTITY_NAMES, Refusal.TOO_UNCERTAIN)
        left = HandMeasurement("left", {**refused.values, name: Measurement.of(value, 1.0)})
        right = HandMeasurement.refused("right", QUANTITY_NAMES, Refusal.HAND_NOT_SEEN)
        verdict = watch.update(FrameMeasurement(index, index / 20, left, right))
        opened += verdict.opened
        fired += verdict.fired
    return opened, fired


def test_fingers_are_recorded_and_not_warned_of_unless_asked() -> None:
    opened, fired = held(WatchRules(), "ring_lift", 30.0, 5.0)
    assert [(one.quantity, one.level) for one in opened] == [
        ("ring_lift", "comfort"),
        ("ring_lift", "extreme"),
    ]
    assert fired == []


@pytest.mark.parametrize(
    ("name", "hold_s"), [("ring_lift", 2.0), ("little_dip", 2.0), ("wrist_flexion", 3.0)]
)
def test_fingers_have_a_hold_time_of_their_own(name: str, hold_s: float) -> None:
    (fired,) = held(WatchRules(warn_groups=("wrist", "finger")), name, 30.0, 6.0)[1]
    assert fired.fired_s == pytest.approx(hold_s, abs=0.051)


@pytest.mark.parametrize(("name", "warnings"), [("ring_lift", 1), ("wrist_flexion", 0)])
def test_a_finger_is_warned_of_once_it_is_more_likely_than_not_beyond(name: str, warnings: int) -> None:
    """A tenth of a deviation beyond the limit: a chance of 0.54 by the table of the normal distribution."""
    rules = WatchRules(warn_groups=("wrist", "finger"))
    assert len(held(rules, name, 25.1, 8.0)[1]) == warnings


def test_a_lift_below_the_plane_is_beyond_no_limit() -> None:
    assert held(WatchRules(warn_groups=("finger",)), "ring_lift", -40.0, 5.0) == ([], [])


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ({"warn_groups": ("toe",)}, "group"),
        ({"finger_hold_s": 0.0}, "finger_hold_s"),
        ({"finger_warn_probability": 0.5}, "finger_warn_probability"),
        ({"hysteresis_mm": -1.0}, "mm"),
    ],
)
def test_rules_refuse_nonsense(values: dict[str, Any], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        WatchRules(**values)


def test_each_unit_has_its_hysteresis_and_each_group_its_hold() -> None:
    rules = WatchRules()
    assert (rules.hysteresis("deg"), rules.hysteresis("mm")) == (5.0, 3.0)
    assert (rules.hold("wrist"), rules.hold("finger")) == (3.0, 2.0)
    with pytest.raises(ValueError, match="inch"):
        rules.hysteresis("inch")
    with pytest.raises(ValueError, match="toe"):
        rules.hold("toe")  # type: ignore[arg-type]
