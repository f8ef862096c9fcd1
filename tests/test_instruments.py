"""Instrument profiles: each is read from its file alone, and what a file may not contain."""

from __future__ import annotations

import pytest

from posturewatch.config.instruments import (
    FRETTING_ROLES,
    ROLES,
    hand_roles,
    instrument,
    instrument_names,
    parse_instrument,
    role_label,
)
from posturewatch.config.resources import calibration_dir
from posturewatch.config.settings import parse_settings
from posturewatch.errors import SettingsError
from posturewatch.model.quantities import QUANTITY_NAMES

FILES = sorted((calibration_dir() / "instruments").glob("*.toml"))
GUITAR = (calibration_dir() / "instruments" / "guitar.toml").read_text(encoding="utf-8")

#: What each must be able to be set to; "guitar" stood in earlier settings files and stands in kept sessions.
ASKED = [
    "guitar",
    "classical guitar",
    "steel-string guitar",
    "electric guitar",
    "bass",
    "ukulele",
    "mandolin",
    "banjo",
    "lute",
    "violin",
    "viola",
    "cello",
    "double bass",
    "piano",
    "computer keyboard",
]


def test_there_is_a_file_for_every_instrument() -> None:
    assert list(instrument_names()) == ASKED
    assert len(FILES) == len(ASKED)
    for name in ASKED:
        assert parse_settings(f"[instrument]\nname = '{name}'").roles == hand_roles(name, "right")


@pytest.mark.parametrize("name", ASKED)
def test_what_one_hand_does_the_other_does_for_a_left_handed_player(name: str) -> None:
    right, left = hand_roles(name, "right"), hand_roles(name, "left")
    assert (right["left"], right["right"]) == (left["right"], left["left"])
    one = instrument(name)
    assert (right["left"] != right["right"]) == (not one.keyboard)
    matters = one.matters("right")
    assert matters["left"] == one.matters("left")["right"]
    assert {*matters["left"], *matters["right"]} <= set(QUANTITY_NAMES)
    # Common practice: a right-handed player's left hand is on the fingerboard; only there are fingers lifted.
    assert (right["left"] in FRETTING_ROLES) == ("index_lift" in matters["left"]) == (not one.keyboard)
    assert one.cameras[0].sees == ("left", "right")


def test_hands_are_called_what_their_players_call_them() -> None:
    assert role_label("fretting", "left") == "fretting hand"
    assert role_label("bowing", "right") == "bow hand"
    assert role_label("fingerboard", "left") == "left hand"
    assert role_label("keys", "right") == "right hand"
    assert set(ROLES) >= set(FRETTING_ROLES)
    with pytest.raises(KeyError):
        hand_roles("kazoo", "right")
    with pytest.raises(ValueError, match="handed"):
        hand_roles("guitar", "both")  # type: ignore[arg-type]


def test_a_new_instrument_is_a_file() -> None:
    new = parse_instrument(
        GUITAR.replace('"guitar"', '"charango"').replace("neck_deg = 75\n", ""), "charango.toml"
    )
    assert (new.name, new.neck_deg) == ("charango", None)
    assert new.roles("left") == {"left": "plucking", "right": "fretting"}


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('name = "guitar"', "", "name: field required"),
        ("neck_deg = 75", 'neck_deg = "left"', "neck_deg: input should be a valid number"),
        ("neck_deg = 75", "neck = 75", "neck: extra inputs"),
        ('role = "fretting"', 'role = "fretful"', "hands.left.role: input should be 'fretting'"),
        ('"finger_lift"', '"finger_lfit"', "hands.left.matters.2: input should be"),
        (
            "distance_m = 0.8",
            "distance_m = 80",
            "cameras.1.distance_m: input should be less than or equal to 5",
        ),
        ('de = "Gitarre"', "", "not valid TOML"),
        (', de = "Gitarre"', "", "label.de: field required"),
    ],
)
def test_a_broken_profile_names_file_and_key(old: str, new: str, says: str) -> None:
    assert GUITAR.count(old) >= 1
    with pytest.raises(SettingsError) as caught:
        parse_instrument(GUITAR.replace(old, new, 1), "The instrument file guitar.toml")
    assert caught.value.sentence.startswith("The instrument file guitar.toml, ")
    assert says in caught.value.sentence
