"""The size of a long practice, predicted from a short one."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from cli_stand_ins import film
from session_factories import make_reading
from test_cli_live import no_settings_of_the_user  # noqa: F401  a fixture

from posturewatch.bench.data_size import Again, Sizes, practise
from posturewatch.capture import VideoFileSource
from posturewatch.pipeline.build import load_parts
from posturewatch.storage.reader import SessionReader


def test_what_a_long_one_takes_follows_from_a_short_one() -> None:
    # 100 for every quarter, and 50 in any case.
    assert Sizes(250, 20, 4).doubled(Sizes(150, 10, 2)) == Sizes(450, 40, 8)


def test_a_film_is_played_again_and_again_as_one_practice(tmp_path: Path) -> None:
    # Two seconds at ten frames a second, bent in the second one; played for seven.
    video = film(tmp_path / "a.mkv", 2.0)
    seen = [
        make_reading(index, index / 10, {("left", "wrist_flexion"): (10.0 if index < 10 else 60.0, 3.0)})
        for index in range(20)
    ]
    again = Again([(one.observation, one.measurement) for one in seen])
    sizes = practise(load_parts(None, None), again, lambda: VideoFileSource(video), tmp_path / "data", 7.0)
    assert sizes.database > 0
    (info,) = SessionReader(tmp_path / "data").sessions()
    assert (info.end_reason, info.lost_samples) == ("time reached", 0)
    record = SessionReader(tmp_path / "data").session(info.id)
    (flexion,) = (one for one in record.series if (one.side, one.quantity) == ("left", "wrist_flexion"))
    assert np.all(np.diff(flexion.time_s) > 0)
    assert flexion.time_s[-1] == pytest.approx(6.9, abs=0.1)
    pattern = ([10.0] * 10 + [60.0] * 10) * 4
    assert flexion.value.tolist() == pytest.approx(pattern[: flexion.value.size])
    # Each time round it was bent beyond the limit once.
    extreme = [one for one in record.excursions if one.level == "extreme"]
    assert [round(one.start_s) for one in extreme] == [1, 3, 5]
