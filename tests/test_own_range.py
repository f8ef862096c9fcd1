"""A player's own range: postures held still, ends against published tables, limits by hand-worked examples."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from posturewatch.comfort.limits import LimitProfile, PersonalLimits
from posturewatch.comfort.own_range import (
    END_RULES,
    NEUTRAL_RULES,
    PUBLISHED_DEG,
    End,
    HoldMeter,
    question_about,
)
from posturewatch.comfort.personal import compared, limits_from_range
from posturewatch.config.limit_profiles import load_profile
from posturewatch.config.players import HandLength, KeptEnd, Player, PlayerFiles, parse_player
from posturewatch.config.settings import parse_settings
from posturewatch.errors import InputError, SettingsError
from posturewatch.model.observation import SIDES, Side
from posturewatch.model.verdict import Level
from posturewatch.pipeline.build import load_parts

WRIST = ("wrist_flexion", "wrist_ulnar_deviation")


def end(direction: str, value_deg: float, side: str = "left") -> End:
    quantity = WRIST[0] if direction in ("flexion", "extension") else WRIST[1]
    return End(side, quantity, direction, value_deg, 5.0, "2026-01-31")  # type: ignore[arg-type]


def test_a_neutral_is_held_after_five_quiet_seconds() -> None:
    meter = HoldMeter(WRIST)
    for frame in range(100):  # moving
        meter.add(frame / 20, {WRIST[0]: (40 * math.sin(frame / 4), 5.0), WRIST[1]: (0.0, 4.0)})
    assert (meter.held, meter.hint) == (None, "hold still")
    for frame in range(100, 220):
        wobble = 2 * math.sin(frame)
        meter.add(frame / 20, {WRIST[0]: (6 + wobble, 5.0), WRIST[1]: (-4 - wobble, 4.0)})
    assert meter.held is not None
    assert meter.held.values[WRIST[0]] == pytest.approx((6.0, 5.0), abs=0.3)
    assert meter.held.values[WRIST[1]] == pytest.approx((-4.0, 4.0), abs=0.3)


def test_less_than_the_time_is_not_held() -> None:
    meter = HoldMeter(WRIST)
    for frame in range(round(0.85 * NEUTRAL_RULES.hold_s * 20)):
        meter.add(frame / 20, {WRIST[0]: (6.0, 5.0), WRIST[1]: (0.0, 4.0)})
    assert meter.held is None
    assert 0.5 < meter.held_s / NEUTRAL_RULES.hold_s < 0.9
    assert meter.hint == "holding"


def test_an_end_lies_in_its_direction() -> None:
    meter = HoldMeter((WRIST[0],), "extension", END_RULES)
    for frame in range(80):
        meter.add(frame / 20, {WRIST[0]: (30.0, 5.0)})
    assert (meter.held, meter.hint) == (None, "go further")
    for frame in range(80, 160):
        meter.add(frame / 20, {WRIST[0]: (-52.0, 6.0)})
    assert meter.held is not None
    assert meter.held.values[WRIST[0]] == pytest.approx((-52.0, 6.0))


def test_a_hand_that_is_away_for_a_minute_is_given_up() -> None:
    meter = HoldMeter(WRIST)
    for second in range(59):
        meter.add(float(second), {})
    assert (meter.gone, meter.hint) == (False, "show the hand")
    for second in range(59, 62):
        meter.add(float(second), {})
    assert meter.gone
    meter.add(62.0, {WRIST[0]: (0.0, 1.0), WRIST[1]: (0.0, 1.0)})
    assert meter.held is None


@pytest.mark.parametrize(
    ("direction", "value_deg", "says"),
    [
        # AAOS, Boone and Azen 1979, Ryu 1991: 76 to 80, 59 to 75, 20 to 22, 30 to 38.
        ("flexion", 78.0, None),
        ("flexion", 45.0, None),
        ("flexion", 15.0, "much less than the 76 to 80"),
        ("flexion", 118.0, "much more than the 76 to 80"),
        ("extension", 10.0, "much less than the 59 to 75"),
        ("radial", 45.0, "much more than the 20 to 22"),
        ("ulnar", 35.0, None),
    ],
)
def test_what_published_tables_contradict_is_questioned(
    direction: str, value_deg: float, says: str | None
) -> None:
    one = end(direction, value_deg)
    found = question_about(one.quantity, direction, value_deg, 5.0)
    assert (found is None) == (says is None)
    assert says is None or (found is not None and says in found)


def test_an_uncertain_end_contradicts_nothing() -> None:
    assert question_about("wrist_flexion", "flexion", 25.0, 10.0) is None


def test_limits_follow_from_the_range_by_hand_worked_examples() -> None:
    """Three players under Keir et al. 2007 (30 mmHg: flexion 48.6, extension 32.7; 25 mmHg: 37.7, 26.6)."""
    profile = load_profile("carpal-pressure")
    supple, usual, stiff = (
        limits_from_range(profile, [end("flexion", flexion), end("extension", extension)])
        for flexion, extension in ((80.0, 75.0), (65.0, 50.0), (40.0, 20.0))
    )
    # 70 % of 80, 65 and 40.
    assert [one["wrist_flexion", "flexion", "extreme"] for one in (supple, usual, stiff)] == pytest.approx(
        [56.0, 45.5, 28.0]
    )
    # The proportion of the profile: 37.7 of 48.6.
    assert stiff["wrist_flexion", "flexion", "comfort"] == pytest.approx(28.0 * 37.7 / 48.6)
    assert stiff["wrist_flexion", "extension", "extreme"] == pytest.approx(14.0)
    assert ("wrist_ulnar_deviation", "ulnar", "extreme") not in stiff
    settings = parse_settings("")
    used = settings.limit_profile([end("flexion", 80.0), end("extension", 20.0)])
    flexion, extension = (used.limit("wrist_flexion", one, "extreme") for one in ("flexion", "extension"))
    assert flexion is not None
    assert extension is not None
    assert (flexion.value, flexion.mark) == (48.6, "F")  # published, since 56 is wider
    assert extension.value == pytest.approx(14.0)
    assert extension.mark == "personal"
    assert extension.source == "70% of the player's own range of 20 degrees, measured 2026-01-31"


def extreme_flexion(profile: LimitProfile, side: Side) -> tuple[float, str]:
    limit = profile.of(side).limit("wrist_flexion", "flexion", "extreme")
    assert limit is not None
    return round(limit.value, 2), limit.source


def test_each_hand_has_the_limits_of_its_own_range_and_the_share_can_be_set() -> None:
    """80 % of 60 is 48, of 50 is 40; published (Keir et al. 2007) 48.6."""
    ends = [end("flexion", 60.0), end("flexion", 50.0, "right")]
    used = parse_settings("[limits]\nrange_share = 0.8").limit_profile(ends)
    assert [extreme_flexion(used, side)[0] for side in SIDES] == [48.0, 40.0]
    # Whoever does not ask of which hand gets the narrower one.
    assert used.limit("wrist_flexion", "flexion", "extreme") == used.of("right").limit(
        "wrist_flexion", "flexion", "extreme"
    )
    # A hand that was not measured is not taken to bend farther than the other one.
    one_hand = parse_settings("").limit_profile([end("flexion", 50.0)])
    assert [extreme_flexion(one_hand, side)[0] for side in SIDES] == [35.0, 35.0]


def test_a_limit_set_by_hand_holds_for_that_hand_and_only_narrows() -> None:
    settings = parse_settings("[limits.personal]\nflexion_extreme_deg = 40")
    key: tuple[str, str, Level] = ("wrist_flexion", "flexion", "extreme")
    used = settings.limit_profile([], {"left": {key: 30.0}, "right": {key: 60.0}})
    assert extreme_flexion(used, "left") == (30.0, "the player's own limit")
    assert extreme_flexion(used, "right")[0] == 40.0
    assert settings.limits_left_aside([], {"right": {key: 60.0}}) == ("right flexion extreme",)


def test_candidates_stand_side_by_side() -> None:
    settings = parse_settings("[limits.personal]\nflexion_extreme_deg = 41")
    profile, ends = load_profile("carpal-pressure"), [end("flexion", 60.0)]
    both = settings.limits.own
    by_hand: PersonalLimits = {("wrist_flexion", "flexion", "extreme"): 30.0}
    used = settings.limit_profile(ends, {"left": by_hand})
    left = compared("left", profile, used, ends, 0.7, by_hand, both)
    right = compared("right", profile, used, ends, 0.7, {}, both)
    rows = {(one.side, one.direction, one.level): one for one in [*left, *right]}
    assert len(rows) == 16
    row = rows["left", "flexion", "extreme"]
    assert row.published is not None
    assert [row.published.value, row.own, row.by_hand, row.in_settings, row.used.value] == pytest.approx(
        [48.6, 42.0, 30.0, 41.0, 30.0]
    )
    # Comfort would be 42 x 37.7 / 48.6 = 32.6, which lies beyond the extreme limit of 30.
    comfort = rows["left", "flexion", "comfort"]
    assert (comfort.used.value, comfort.origin) == (30.0, "extreme")
    assert rows["right", "flexion", "extreme"].origin == "settings"
    assert rows["right", "flexion", "comfort"].origin == "range"
    assert rows["right", "ulnar", "extreme"].origin == "published"
    assert rows["left", "radial", "extreme"].own is None


# ---- players' files ----

ADA = Player(name="Ada Ünal", hand=HandLength(length_mm=181.0, method="card", date="2026-01-31"))
KEPT = KeptEnd(
    side="left", quantity="wrist_flexion", direction="flexion", value_deg=60.0, sd_deg=5.0, date="2026-01-31"
)


def test_players_are_kept_each_in_a_file(tmp_path: Path) -> None:
    files = PlayerFiles(tmp_path / "players")
    assert files.names() == ()
    assert files.player("Ada Ünal") == Player(name="Ada Ünal")
    files.keep(ADA.with_end(KEPT))
    files.keep(Player(name="Ben"))
    assert files.names() == ("Ada Ünal", "Ben")
    path = tmp_path / "players" / "ada-ünal.toml"
    path.write_text("# mine\n" + path.read_text(encoding="utf-8"), encoding="utf-8")
    files.keep(files.player("Ada Ünal").with_end(KEPT.model_copy(update={"value_deg": 55.0})))
    assert [one.value_deg for one in files.player("Ada Ünal").ends] == [55.0]
    assert path.read_text(encoding="utf-8").startswith("# mine\n")
    files.keep(files.player("Ada Ünal").model_copy(update={"hand": None, "ends": ()}))
    assert files.player("Ada Ünal") == Player(name="Ada Ünal")


@pytest.mark.parametrize("name", ["", "  ", "...", "a\nb", "x" * 61])
def test_a_name_that_cannot_be_a_file_is_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises(InputError, match="player's name"):
        PlayerFiles(tmp_path).player(name)


def test_a_name_leads_nowhere_else(tmp_path: Path) -> None:
    files = PlayerFiles(tmp_path / "players")
    files.keep(Player(name="../../etc/passwd"))
    assert [path.name for path in (tmp_path / "players").iterdir()] == ["etc-passwd.toml"]


LIMIT = (
    "name = 'A'\n[[limits]]\nside = 'left'\nquantity = 'wrist_flexion'\ndirection = 'flexion'\nlevel = 'extreme'\n"
    "date = '2026-01-31'\n"
)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (
            "name = 'A'\n[hand]\nlength_cm = 18\ndate = '2026-01-31'",
            "line 3: hand, length_cm is unknown; did you mean length_mm (in millimetres)",
        ),
        (
            "name = 'A'\n[hand]\nlength_mm = 18\ndate = '2026-01-31'",
            "line 3: hand, length_mm must be a number from 100 to 260 (in millimetres), not 18",
        ),
        (
            "name = 'A'\n[hand]\nlength_mm = '18 cm'\ndate = '2026-01-31'",
            'must be a number from 100 to 260 (in millimetres), not "18 cm"',
        ),
        ("name = 'A'\n[hand]\nlength_mm = 181.0\ndate = '31.1.2026'", 'must be a day such as "2026-01-31"'),
        ("name = 'A'\nhand = 181", "line 2: hand is a section"),
        ("name = 'A'\nends = 3", "line 2: ends is a list; write [[ends]]"),
        ("name = 'A'\n[[ends]]\nside = 'left'", "line 2: number 1 of [[ends]], quantity is missing"),
        (
            "name = 'A'\n[[ends]]\nside = 'left'\nquantity = 'wrist_flexion'\ndirection = 'ulnar'\nvalue_deg = 3\n"
            "sd_deg = 1\ndate = '2026-01-31'",
            "there is no wrist_flexion ulnar, only wrist_flexion flexion",
        ),
        (
            f"{LIMIT}value_mm = 30",
            "line 8: number 1 of [[limits]], value_mm is unknown; did you mean value_deg",
        ),
        (f"{LIMIT}value_deg = 0.5", "value_deg must be a number from 1 to 180 (in degrees), not 0.5"),
        # Radians of 30 degrees, and a limit that no wrist reaches.
        (f"{LIMIT}value_deg = 0.52", "must be a number from 1 to 180 (in degrees)"),
        (f"{LIMIT}value_deg = 95", "a limit of flexion is 1 to 80 degrees"),
        (f"{LIMIT.replace('extreme', 'some')}value_deg = 30", "level must be one of comfort, extreme"),
        ("name = ", "not valid TOML"),
    ],
)
def test_a_file_edited_by_hand_is_refused_and_not_overwritten(tmp_path: Path, text: str, says: str) -> None:
    with pytest.raises(SettingsError) as caught:
        parse_player(text, "The player's file a.toml")
    assert says in caught.value.sentence
    files = PlayerFiles(tmp_path)
    (tmp_path / "a.toml").write_text(text, encoding="utf-8")
    with pytest.raises(SettingsError):
        files.keep(Player(name="A"))
    assert (tmp_path / "a.toml").read_text(encoding="utf-8") == text
    assert files.names() == ()


def test_what_was_measured_of_the_player_is_reckoned_with(tmp_path: Path) -> None:
    settings = tmp_path / "settings.toml"
    settings.write_text("[player]\nname = 'Ada Ünal'\nhand_length_mm = 170\n", encoding="utf-8")
    PlayerFiles(tmp_path / "players").keep(ADA.with_end(KEPT.model_copy(update={"value_deg": 40.0})))
    parts = load_parts(settings, None)
    assert parts.settings.player.hand_length_mm == 181.0
    limit = parts.limits.limit("wrist_flexion", "flexion", "extreme")
    assert limit is not None
    assert limit.value == pytest.approx(28.0)
    assert set(PUBLISHED_DEG) == {
        (one.quantity, one.direction)
        for one in map(end, ("flexion", "extension", "radial", "ulnar"), (1.0,) * 4)
    }
