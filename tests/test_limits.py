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
from posturewatch.errors import InputError
from posturewatch.quantities import QUANTITIES
from posturewatch.resources import calibration_dir

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
    return parse_profile((calibration_dir() / "limits" / f"{name}.toml").read_text(encoding="utf-8"))


def value(limit: Limit | None) -> float | None:
    return None if limit is None else limit.value


@pytest.mark.parametrize("key", PUBLISHED, ids="/".join)
def test_published_values(key: tuple[str, str]) -> None:
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
        profile = parse_profile(path.read_text(encoding="utf-8"))
        assert profile.name == path.stem
        assert set(profile.bands) == {(q.name, direction) for q in QUANTITIES for direction in q.directions}


def test_every_value_carries_its_source() -> None:
    for path in FILES:
        for band in parse_profile(path.read_text(encoding="utf-8")).bands.values():
            for limit in (band.comfort, band.extreme):
                assert limit is None or (len(limit.source) > 10 and limit.mark in ("F", "M"))


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


def test_personal_limits_narrow_and_never_widen() -> None:
    profile = read("carpal-pressure")
    personal = {
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
