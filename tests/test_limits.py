"""Limit profiles against the published values, and what a profile file may not contain."""

from __future__ import annotations

import pytest

from posturewatch.comfort.limits import (
    Band,
    Limit,
    LimitProfile,
    narrowed,
    parse_profile,
    wider,
)
from posturewatch.config.limit_profiles import load_profile
from posturewatch.config.resources import calibration_dir
from posturewatch.errors import InputError
from posturewatch.model.quantities import QUANTITIES, quantity
from posturewatch.model.verdict import Level

FILES = sorted((calibration_dir() / "limits").glob("*.toml"))

# (extension, flexion, radial, ulnar), None where the source gives nothing. Sources beside each.
PUBLISHED = {
    # Keir, Bach, Hudes, Rempel 2007, Human Factors 49(1):88-99, 25 and 30 mmHg (seen in secondary copies)
    ("carpal-pressure", "comfort"): (26.6, 37.7, 17.8, 12.1),
    ("carpal-pressure", "extreme"): (32.7, 48.6, 21.8, 14.5),
    # ISO 11064-4:2004 as quoted in NUREG-0700 rev. 3 (seen)
    ("iso-11064-4", "comfort"): (None, None, None, None),
    ("iso-11064-4", "extreme"): (30, 30, None, None),
    # ISO 11228-3:2007, annex (from memory)
    ("iso-11228-3", "comfort"): (None, None, None, None),
    ("iso-11228-3", "extreme"): (45, 45, 15, 20),
    # Moore & Garg 1995, AIHA J 56:443-458: upper bounds of "good" and of "fair" (from memory)
    ("strain-index", "comfort"): (25, 15, None, 15),
    ("strain-index", "extreme"): (40, 30, None, 20),
    # RULA, McAtamney & Corlett 1993, Appl Ergon 24(2):91-99 (seen)
    ("rula", "comfort"): (15, 15, None, None),
    ("rula", "extreme"): (None, None, None, None),
    # WAC 296-62-051 (from memory)
    ("washington-state", "comfort"): (None, None, None, None),
    ("washington-state", "extreme"): (45, 30, None, 30),
}


def read(name: str) -> LimitProfile:
    return load_profile(name)


def value(limit: Limit | None) -> float | None:
    return None if limit is None else limit.value


@pytest.mark.parametrize("key", PUBLISHED, ids="/".join)
def test_published_values(key: tuple[str, Level]) -> None:
    name, level = key
    profile = read(name)
    found = (
        value(profile.limit("wrist_flexion", "extension", level)),
        value(profile.limit("wrist_flexion", "flexion", level)),
        value(profile.limit("wrist_ulnar_deviation", "radial", level)),
        value(profile.limit("wrist_ulnar_deviation", "ulnar", level)),
    )
    assert found == PUBLISHED[key]


def test_every_file_is_in_the_table_and_named_after_its_profile() -> None:
    assert {path.stem for path in FILES} == {name for name, _ in PUBLISHED}
    for path in FILES:
        profile = read(path.stem)
        assert profile.name == path.stem
        assert set(profile.bands) == {(q.name, direction) for q in QUANTITIES for direction in q.directions}


def test_every_value_carries_its_source() -> None:
    for path in FILES:
        for (name, _), band in read(path.stem).bands.items():
            marks = ("F", "M") if quantity(name).group == "wrist" else ("common practice",)
            for limit in (band.comfort, band.extreme):
                assert limit is None or (len(limit.source) > 10 and limit.mark in marks)


@pytest.mark.parametrize("profile", [path.stem for path in FILES])
def test_fingers_have_the_same_limits_in_every_profile_and_say_that_none_is_validated(profile: str) -> None:
    found = {
        (name, direction, level): limit
        for (name, direction), band in read(profile).bands.items()
        for level in ("comfort", "extreme")
        if quantity(name).group == "finger" and (limit := band.limit(level)) is not None
    }
    expected: dict[tuple[str, str, str], float] = {}
    for finger in ("index", "middle", "ring", "little"):
        expected[f"{finger}_lift", "lift", "comfort"] = 15.0
        expected[f"{finger}_lift", "lift", "extreme"] = 25.0
        expected[f"{finger}_dip", "collapse", "comfort"] = 5.0
        expected[f"{finger}_dip", "collapse", "extreme"] = 15.0
    assert {key: limit.value for key, limit in found.items()} == expected
    assert all("not validated" in limit.source for limit in found.values())


HEAD = 'name = "own"\nlabel = "own"\ndescription = "own"\n'
ENTRY = '[wrist_flexion.flexion.extreme]\nvalue_deg = 40\nsource = "somewhere"\nmark = "F"\n'


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("name = ", "not valid TOML"),
        (ENTRY, "needs a name"),
        (HEAD + ENTRY.replace("wrist_flexion", "wrist_flexoin"), "unknown entry wrist_flexoin"),
        (HEAD + ENTRY.replace(".flexion.", ".ulnar."), "unknown direction wrist_flexion.ulnar"),
        (HEAD + ENTRY.replace("extreme", "severe"), "unknown level severe"),
        (HEAD + ENTRY.replace("value_deg", "value_mm"), "exactly value_deg, source and mark"),
        (HEAD + ENTRY.replace("40", "-40"), "above 0"),
        (HEAD + ENTRY.replace("40", "true"), "above 0"),
        (HEAD + ENTRY.replace('"F"', '"X"'), "the mark is one of"),
        (HEAD + ENTRY.replace('"somewhere"', '""'), "needs a source"),
        (HEAD + ENTRY + ENTRY.replace("extreme", "comfort").replace("40", "41"), "lies beyond"),
        (HEAD + "[wrist_flexion]\nflexion = 3\n", "unknown direction"),
        (HEAD + "wrist_flexion = 3\n", "unknown entry"),
    ],
)
def test_a_broken_profile_is_refused_in_one_sentence(text: str, says: str) -> None:
    with pytest.raises(InputError, match=says) as caught:
        parse_profile(text)
    assert "\n" not in caught.value.sentence


LIFT = '[finger_lift.lift.extreme]\nvalue_mm = 20\nsource = "somewhere"\nmark = "D"\n'


def test_a_family_stands_for_its_quantities_and_a_name_goes_before_it() -> None:
    own = LIFT.replace("finger_lift", "ring_lift").replace("20", "12")
    profile = parse_profile(HEAD + own + LIFT)
    found = [
        value(profile.limit(f"{f}_lift", "lift", "extreme")) for f in ("index", "middle", "ring", "little")
    ]
    assert found == [20.0, 20.0, 12.0, 20.0]


def test_what_a_profile_says_itself_goes_before_what_it_includes() -> None:
    included = {"others": LIFT + LIFT.replace("finger_lift.lift", "thumb_joint.hook").replace("_mm", "_deg")}
    profile = parse_profile(HEAD + 'include = ["others"]\n' + LIFT.replace("20", "18"), included)
    assert value(profile.limit("index_lift", "lift", "extreme")) == 18.0
    assert value(profile.limit("thumb_ip", "hook", "extreme")) == 20.0
    with pytest.raises(InputError, match="own includes nothing, which there is not"):
        parse_profile(HEAD + 'include = ["nothing"]\n', included)
    with pytest.raises(InputError, match="own, others has an unknown entry finger_lfit"):
        parse_profile(HEAD + 'include = ["others"]\n', {"others": LIFT.replace("finger_lift", "finger_lfit")})


def test_personal_limits_narrow_and_never_widen() -> None:
    profile = read("carpal-pressure")
    personal: dict[tuple[str, str, Level], float] = {
        ("wrist_flexion", "extension", "extreme"): 29.0,  # narrower: taken
        ("wrist_flexion", "flexion", "extreme"): 60.0,  # wider: left aside
        ("wrist_ulnar_deviation", "ulnar", "extreme"): 10.0,  # below the comfort limit: takes that along
    }
    own = narrowed(profile, personal)
    assert own.limit("wrist_flexion", "extension", "extreme") == Limit(
        29.0, "the player's own limit", "personal"
    )
    assert value(own.limit("wrist_flexion", "extension", "comfort")) == 26.6
    assert value(own.limit("wrist_flexion", "flexion", "extreme")) == 48.6
    assert value(own.limit("wrist_ulnar_deviation", "ulnar", "comfort")) == 10.0
    assert value(own.limit("wrist_ulnar_deviation", "ulnar", "extreme")) == 10.0
    assert wider(profile, personal) == (("wrist_flexion", "flexion", "extreme"),)
    assert profile == read("carpal-pressure")


def test_a_personal_limit_fills_a_gap() -> None:
    own = narrowed(read("rula"), {("wrist_ulnar_deviation", "radial", "extreme"): 12.0})
    assert value(own.limit("wrist_ulnar_deviation", "radial", "extreme")) == 12.0
    assert own.bands["wrist_ulnar_deviation", "ulnar"] == Band()


def test_personal_limits_are_checked() -> None:
    with pytest.raises(ValueError, match="above 0"):
        narrowed(read("rula"), {("wrist_flexion", "flexion", "extreme"): 0.0})
    with pytest.raises(KeyError):
        narrowed(read("rula"), {("wrist_flexion", "ulnar", "extreme"): 10.0})
    with pytest.raises(ValueError, match="a level is one of"):
        narrowed(read("rula"), {("wrist_flexion", "flexion", "severe"): 10.0})  # type: ignore[dict-item]
