"""The settings file: every entry at its bounds, every fault with key and line."""

from __future__ import annotations

import json
import re
from dataclasses import fields
from pathlib import Path

import pytest

from posturewatch.cli.options import HAND_LENGTH_MM, HFOV_DEG
from posturewatch.comfort.rules import WatchRules
from posturewatch.config import settings as settings_module
from posturewatch.config.limit_profiles import DEFAULT_PROFILE, load_profile, profile_names
from posturewatch.config.settings import SETTINGS, Settings, example_settings, load_settings, parse_settings
from posturewatch.config.settings_file import bounds, line_of
from posturewatch.errors import InputError, SettingsError
from posturewatch.pipeline.build import load_parts

ENTRIES = [(section, key) for section, keys in SETTINGS.items() for key in keys]
NUMBERS = [pair for pair in ENTRIES if pair != ("camera", "size_px") and bounds(SETTINGS[pair[0]][pair[1]])]


def test_an_empty_file_gives_the_defaults() -> None:
    assert parse_settings("") == Settings()


def test_the_example_shows_every_key_at_its_default() -> None:
    text = example_settings()
    assert parse_settings(text) == Settings()  # everything is commented out
    set_keys = re.sub(r"(?m)^#(\w+ = )", r"\1", text)
    assert parse_settings(set_keys) == Settings()
    for section, key in ENTRIES:
        assert f"\n[{section}]\n" in text
        assert re.search(rf"(?m)^#{key} =", text)
        assert max(map(len, text.splitlines())) <= 110


@pytest.mark.parametrize(("section", "key"), NUMBERS, ids=".".join)
def test_bounds(section: str, key: str) -> None:
    setting = SETTINGS[section][key]
    span = bounds(setting)
    assert span is not None
    low, high = span
    if setting.default is not None:
        assert low <= setting.default <= high
    other = "clear_probability = 0.05\n" if key == "warn_probability" else ""
    other = "warn_probability = 0.99\n" if key == "clear_probability" else other
    for good in (low, high):
        found = parse_settings(f"[{section}]\n{other}{key} = {good}").to_json()
        for part in section.split("."):
            found = found[part]
        assert found[key] == good
    for bad in (low - 0.01, high + 0.01, "nan", "inf", "true", '"1"', "[1]"):
        with pytest.raises(SettingsError, match=f"line 3: {section}.{key} must be a number from"):
            parse_settings(f"# a comment\n[{section}]\n{key} = {bad}")


@pytest.mark.parametrize(
    ("text", "line", "says"),
    [
        ("[watch]\nhold = 3", 2, "unknown key watch.hold; did you mean hold_s?"),
        ("[watch]\n\n# hold = 3\nhold_s = 'x'", 4, 'watch.hold_s must be a number from 0.5 to 60, not "x"'),
        ("[wacth]\nhold_s = 3", 1, "unknown section [wacth]; did you mean watch?"),
        ("hold_s = 3", 1, "hold_s belongs under [watch]"),
        ("[camera]\nhold_s = 3", 2, "hold_s belongs under [watch]"),
        ("watch = 3", 1, "watch is a section"),
        ("watch.hold_s = 3\nwatch.hol_s = 3", 2, "did you mean hold_s?"),
        ("[camera]\n[watch]\n'hold' = 3", 3, "did you mean hold_s?"),
        ("[limits]\npersonal = {extension_extreme = 30}", 2, "did you mean extension_extreme_deg?"),
        ("[limits.personal]\nflexion_extreme_deg = 0", 2, "a number from 1 to 180"),
        ("[camera]\nsize_px = [1280]", 2, "a list of 2 whole numbers"),
        ("[camera]\nsize_px = [1280, 720.0]", 2, "a list of 2 whole numbers"),
        ("[camera]\nsource = 0", 2, "a text in quotes, not 0"),
        ("[watch]\nwarn_roles = ['fretting', 'left']", 2, "any of fretting, plucking"),
        ("[instrument]\nname = 'guitarr'", 2, "one of guitar, classical guitar"),
        ("[camera]\nmirrored = 1", 2, "true or false, not 1"),
        ("[watch]\nwarn_probability = 0.6\nclear_probability = 0.7", 3, "must not lie above"),
        ("[watch]\n\nwarn_probability = 0.55\nclear_probability = 0.55\nx = 1", 5, "unknown key watch.x"),
        ("a = 1\nb = = 2", 2, "not valid TOML"),
        ("[watch]\nhold_s = 3\nhold_s = 4", 3, "not valid TOML"),
        ('a = 1\nb = """x\ny', 3, "not valid TOML"),
    ],
)
def test_a_fault_names_key_and_line(text: str, line: int, says: str) -> None:
    with pytest.raises(SettingsError) as caught:
        parse_settings(text, "The settings file my.toml")
    sentence = caught.value.sentence
    assert sentence.startswith(f"The settings file my.toml, line {line}: ")
    assert says in sentence
    assert sentence[-1] in ".?"
    assert "\n" not in sentence


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("a", "b"), 3),
        (("a",), 2),
        (("c", "d", "e"), 6),
        (("c", "d", "f"), 7),
        (("g h", "i"), 9),
        (("z",), 1),
    ],
)
def test_lines_of_keys(path: tuple[str, ...], line: int) -> None:
    text = '# a\n[a]\nb = 1\nc = 2\n[c]\nd.e = 1\nd . f = 2\n["g h"]\n"i" = 1\n'
    assert line_of(text, path) == line


def test_a_personal_finger_limit_holds_for_every_finger() -> None:
    settings = parse_settings(
        "[limits.personal]\nfinger_lift_comfort_mm = 9\nend_joint_collapse_extreme_deg = 8"
    )
    profile = settings.limit_profile()
    for finger in ("index", "middle", "ring", "little"):
        lift, joint = profile.bands[f"{finger}_lift", "lift"], profile.bands[f"{finger}_dip", "collapse"]
        assert [one.value for one in (lift.comfort, lift.extreme, joint.comfort, joint.extreme) if one] == [
            9,
            25,
            5,
            8,
        ]
    assert settings.to_json()["limits"]["personal"] == {
        "finger_lift_comfort_mm": 9.0,
        "end_joint_collapse_extreme_deg": 8.0,
    }


def test_fingers_are_warned_of_only_where_asked() -> None:
    assert Settings().rules().warn_groups == ("wrist",)
    rules = parse_settings("[watch]\nwarn_groups = ['wrist', 'finger']\nfinger_hold_s = 4").rules()
    assert (rules.warn_groups, rules.finger_hold_s) == (("wrist", "finger"), 4.0)
    assert parse_settings("[watch]\nfinger_warn_probability = 0.8").rules().finger_warn_probability == 0.8
    # What is set for the wrist alone was never refused for what holds of fingers.
    assert parse_settings("[watch]\nclear_probability = 0.6").rules().clear("finger") < 0.6
    with pytest.raises(SettingsError, match="warn_groups"):
        parse_settings("[watch]\nwarn_groups = ['toe']")


def test_a_personal_limit_wider_than_the_profile_is_said_to_change_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "settings.toml"
    path.write_text("[limits.personal]\nfinger_lift_comfort_mm = 20\nflexion_extreme_deg = 10\n")
    assert load_settings(path).limits_left_aside() == ("finger_lift_comfort_mm",)
    load_parts(path, None)
    (line,) = capsys.readouterr().err.splitlines()
    assert "finger_lift_comfort_mm is wider" in line


def test_personal_limits_narrow_the_profile() -> None:
    text = "[limits]\nprofile = 'iso-11228-3'\n[limits.personal]\nextension_extreme_deg = 30\nradial_extreme_deg = 25"
    limits = parse_settings(text).limit_profile()
    extension = limits.limit("wrist_flexion", "extension", "extreme")
    radial = limits.limit("wrist_ulnar_deviation", "radial", "extreme")
    assert extension is not None
    assert (extension.value, extension.mark) == (30.0, "personal")
    assert radial is not None
    assert radial.value == 15.0  # the profile's own is narrower


def test_an_unknown_profile_lists_those_there_are() -> None:
    with pytest.raises(InputError) as caught:
        parse_settings("[limits]\nprofile = 'carpal-presure'").limit_profile()
    assert "did you mean carpal-pressure?" in caught.value.sentence
    for name in profile_names():
        assert name in caught.value.sentence
        assert load_profile(name).name == name
    assert profile_names()[0] == DEFAULT_PROFILE == Settings().limits.profile


def test_a_profile_name_is_no_path() -> None:
    with pytest.raises(InputError, match="There is no limit profile"):
        load_profile("../limits/rula")


def test_the_watch_section_is_the_rules() -> None:
    assert {f.name for f in fields(WatchRules)} - {"warn_sides"} == set(SETTINGS["watch"]) - {"warn_roles"}
    assert Settings().rules() == WatchRules(warn_sides=("left",))
    assert parse_settings("[watch]\nhold_s = 5\nrearm_s = 9").rules() == WatchRules(
        hold_s=5.0, rearm_s=9.0, warn_sides=("left",)
    )


@pytest.mark.parametrize(
    ("instrument", "handedness", "roles", "warned"),
    [
        ("guitar", "right", ["fretting", "fingerboard"], ("left",)),
        ("guitar", "left", ["fretting", "fingerboard"], ("right",)),
        ("guitar", "right", ["fretting", "plucking"], ("left", "right")),
        ("cello", "right", ["fretting", "fingerboard"], ("left",)),
        # The word of earlier settings files for the hand on a bowed instrument's fingerboard.
        ("cello", "right", ["stopping"], ("left",)),
        ("violin", "left", ["bowing"], ("left",)),
        ("guitar", "right", ["bowing"], ()),
        ("guitar", "right", [], ()),
    ],
)
def test_warned_hands(instrument: str, handedness: str, roles: list[str], warned: tuple[str, ...]) -> None:
    text = f"[instrument]\nname = '{instrument}'\nhandedness = '{handedness}'\n"
    text += f"[watch]\nwarn_roles = {json.dumps(roles)}"
    assert parse_settings(text).rules().warn_sides == warned


def test_json_holds_everything() -> None:
    text = json.dumps(
        parse_settings("[limits.personal]\nulnar_comfort_deg = 9").to_json(), allow_nan=False, sort_keys=True
    )
    found = json.loads(text)
    assert found["limits"]["personal"] == {"ulnar_comfort_deg": 9.0}
    for section, key in ENTRIES:
        assert section == "limits.personal" or key in found[section]


def test_files(tmp_path: Path) -> None:
    file = tmp_path / "settings.toml"
    file.write_bytes(b"\xef\xbb\xbf[watch]\r\nhold_s = 4\r\n")  # as an editor on Windows may save it
    found = load_settings(file)
    assert (found.watch.hold_s, found.path) == (4.0, file)


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (None, "There is no settings file"),
        (b"[watch]\n\xff\xfe", "line 2: this is not UTF-8"),
        (b"[watch]\nhold = 1", "line 2: unknown key watch.hold"),
    ],
)
def test_broken_files(tmp_path: Path, content: bytes | None, says: str) -> None:
    file = tmp_path / "my settings.toml"
    if content is not None:
        file.write_bytes(content)
    with pytest.raises(SettingsError, match=says) as caught:
        load_settings(file)
    assert str(file) in caught.value.sentence
    assert caught.value.exit_code == 2


def test_a_folder_is_no_settings_file(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match="cannot be read"):
        load_settings(tmp_path)


def test_the_users_own_file_may_be_missing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    own = tmp_path / "settings.toml"
    monkeypatch.setattr(settings_module, "default_settings_path", lambda: own)
    assert load_settings() == Settings()
    own.write_text("[watch]\nhold_s = 7\n", encoding="utf-8")
    assert load_settings().watch.hold_s == 7.0


def test_options_have_the_bounds_of_their_settings() -> None:
    assert bounds(SETTINGS["camera"]["hfov_deg"]) == HFOV_DEG
    assert bounds(SETTINGS["player"]["hand_length_mm"]) == HAND_LENGTH_MM
