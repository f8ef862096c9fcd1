"""Changing the settings file: everything else in it stays, and what is wrong leaves it untouched."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from posturewatch.config.settings import SETTINGS, Settings, example_settings, parse_settings
from posturewatch.config.settings_edit import change_settings, changed_text
from posturewatch.config.settings_form import settings_form
from posturewatch.errors import InputError, SettingsError, StoreError

MINE = """# my own words
[watch]   # of the watch
hold_s = 4.0  # four

# and here the camera
[camera]
source = "2"
"""


def test_comments_and_order_survive() -> None:
    new = changed_text(MINE, {("watch", "hold_s"): 5.5, ("instrument", "name"): "cello"})
    assert new == MINE.replace("4.0", "5.5") + '\n[instrument]\nname = "cello"\n'
    settings = parse_settings(new)
    assert (settings.watch.hold_s, settings.camera.source, settings.instrument.name) == (5.5, "2", "cello")


def test_a_setting_is_taken_out() -> None:
    assert changed_text(
        MINE, {("camera", "source"): None, ("limits.personal", "ulnar_comfort_deg"): None}
    ) == (MINE.replace('source = "2"\n', ""))


@pytest.mark.parametrize("text", ["", MINE, example_settings()], ids=["empty", "mine", "example"])
def test_every_setting_can_be_written_and_read_again(text: str) -> None:
    values: dict[str, dict[str, Any]] = {
        one["name"]: {entry["key"]: entry for entry in one["settings"]} for one in settings_form(Settings())
    }
    for section, keys in SETTINGS.items():
        for key in keys:
            entry = values[section][key]
            value = entry["default"] if entry["default"] is not None else entry["low"]
            new = parse_settings(changed_text(text, {(section, key): value})).to_json()
            for step in section.split("."):
                new = new[step]
            assert new[key] == value


def test_a_new_file_is_made(tmp_path: Path) -> None:
    own = tmp_path / "deep" / "settings.toml"
    own.parent.mkdir()
    own.write_text(MINE, encoding="utf-8")
    own.chmod(0o640)
    assert change_settings(own, {("watch", "hold_s"): 6}).watch.hold_s == 6.0
    assert "hold_s = 6  # four" in own.read_text(encoding="utf-8")
    assert own.stat().st_mode & 0o777 == 0o640
    assert [path.name for path in own.parent.iterdir()] == ["settings.toml"]


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({("watch", "hold_s"): 100}, "watch.hold_s must be a number from 0.5 to 60, not 100"),
        ({("watch", "hold_s"): "long"}, "watch.hold_s must be a number"),
        ({("watch", "hold"): 1}, "There is no setting watch.hold."),
        ({("nothing", "at_all"): 1}, "There is no setting nothing.at_all."),
        ({("limits", "profile"): "mine"}, "There is no limit profile 'mine'"),
        ({("watch", "clear_probability"): 0.9}, "must not lie above"),
    ],
)
def test_what_is_not_taken_changes_nothing(
    tmp_path: Path, changes: dict[tuple[str, str], Any], says: str
) -> None:
    own = tmp_path / "settings.toml"
    own.write_text(MINE, encoding="utf-8")
    with pytest.raises(InputError, match=says.replace(".", r"\.")):
        change_settings(own, changes)
    assert own.read_text(encoding="utf-8") == MINE


def test_a_file_edited_by_hand_with_a_wrong_unit_is_left_as_it_is(tmp_path: Path) -> None:
    own = tmp_path / "settings.toml"
    broken = MINE.replace("hold_s = 4.0", 'hold_s = "4 s"')
    own.write_text(broken, encoding="utf-8")
    with pytest.raises(SettingsError, match=r"line 3: watch\.hold_s must be a number"):
        change_settings(own, {("camera", "source"): "0"})
    assert own.read_text(encoding="utf-8") == broken


def test_a_folder_that_cannot_be_written_is_told(own_folder: Path) -> None:
    own = own_folder / "settings.toml"
    own.write_text(MINE, encoding="utf-8")
    own_folder.chmod(0o500)
    try:
        with pytest.raises(StoreError, match="Nothing was changed"):
            change_settings(own, {("watch", "hold_s"): 5})
    finally:
        own_folder.chmod(0o700)
    assert own.read_text(encoding="utf-8") == MINE


def test_the_form_knows_units_bounds_and_sources() -> None:
    form = {
        (one["name"], entry["key"]): entry for one in settings_form(Settings()) for entry in one["settings"]
    }
    assert set(form) == {(section, key) for section, keys in SETTINGS.items() for key in keys}
    hold = form["watch", "hold_s"]
    assert (hold["kind"], hold["unit"], hold["low"], hold["high"], hold["value"]) == (
        "number",
        "s",
        0.5,
        60.0,
        3.0,
    )
    assert form["instrument", "name"]["kind"] == "choice"
    assert "rula" in form["limits", "profile"]["choices"]
    assert form["watch", "warn_roles"]["kind"] == "choices"
    assert form["camera", "size_px"]["value"] == [1280, 720]
    ulnar = form["limits.personal", "ulnar_extreme_deg"]
    # Keir, Bach, Hudes and Rempel 2007, Human Factors 49(1):88-99, as in tests/test_limits.py.
    assert (ulnar["high"], ulnar["unit"], ulnar["value"]) == (14.5, "°", None)
    assert "Keir" in ulnar["source"]
