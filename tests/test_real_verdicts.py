"""Verdicts on places against their errors, where several cameras see one hand: by hand-worked examples."""

from __future__ import annotations

import pytest

from calibration.evaluate.real.verdicts import LEAST_MOMENTS, Looks, Place, lines, moved, pairs
from posturewatch.comfort.looks import Grade

KEY = ("a session", "left", "wrist_flexion")


def place(sd: float, errors: dict[int, float], in_view: int | None = None) -> Place:
    at = {moment: (sd, error) for moment, error in errors.items()}
    return Place(at, [sd] * len(errors), len(errors) if in_view is None else in_view)


def each(error: float, moments: range = range(10)) -> dict[int, float]:
    return dict.fromkeys(moments, error)


def test_a_place_is_graded_as_a_player_would_be_told() -> None:
    assert place(5.0, each(3.0)).grade is Grade.WELL
    assert place(8.0, each(3.0)).grade is Grade.FAIRLY
    assert place(12.0, each(3.0)).grade is Grade.POORLY
    assert place(5.0, each(3.0), in_view=100).grade is Grade.NOT
    assert place(5.0, each(3.0)).error == 3.0
    assert place(5.0, each(3.0, range(LEAST_MOMENTS - 1))).error is None


def test_cameras_are_compared_on_the_moments_that_both_have() -> None:
    """The second camera has hard moments that the first one lacks; those count for nothing."""
    looks: Looks = {
        KEY: {0: place(6.0, each(4.0)), 1: place(9.0, {**each(7.0), **each(40.0, range(10, 30))})}
    }
    assert pairs(looks) == [(6.0, 9.0, 3.0)]
    apart: Looks = {KEY: {0: place(6.0, each(4.0)), 1: place(9.0, each(7.0, range(10, 20)))}}
    assert pairs(apart) == []


def test_whoever_is_sent_away_goes_to_the_best_verdict() -> None:
    looks: Looks = {
        KEY: {
            0: place(9.5, each(8.0)),
            1: place(7.0, each(6.0)),
            2: place(8.0, each(2.0)),
            3: place(12.0, each(10.0)),
        }
    }
    from_first, from_third, from_fourth = moved(looks)
    # Here 8, at the camera with deviation 7 it is 6; over the others 6, 2 and 10; the least is 2.
    assert from_first == pytest.approx((8.0, 6.0, 6.0, 2.0))
    assert from_third == pytest.approx((2.0, 6.0, 8.0, 6.0))
    assert from_fourth[:2] == pytest.approx((10.0, 6.0))


def test_nobody_is_sent_from_a_good_place_or_from_the_best_one() -> None:
    assert moved({KEY: {0: place(5.0, each(8.0)), 1: place(4.0, each(1.0))}}) == []
    assert moved({KEY: {0: place(7.0, each(8.0))}}) == []


def test_what_is_told_of_verdicts_that_are_right_and_of_those_that_are_wrong() -> None:
    def told(*errors: float) -> str:
        cameras = {
            k: place(sd, each(error))
            for k, (sd, error) in enumerate(zip((6.0, 8.0, 11.0), errors, strict=True))
        }
        return "\n".join(lines({KEY: cameras}))

    assert "rank correlation of deviation and error over all: 1.00" in told(4.0, 7.0, 12.0)
    # Of deviations 6, 8 and 11: arctan of 4/3, 11/6 and 11/8 over a right angle is 0.59, 0.68 and 0.60.
    assert "3 of 3 (100%; 62% if it were all true) where they differ by more than 1" in told(4.0, 7.0, 12.0)
    assert "rank correlation of deviation and error over all: -1.00" in told(12.0, 7.0, 4.0)
    assert "0 of 3 (0%; 62% if it were all true) where they differ by more than 1" in told(12.0, 7.0, 4.0)
