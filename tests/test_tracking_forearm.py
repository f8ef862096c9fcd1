"""The forearm's axis: the network's way back to the picture."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.stats import laplace
from test_tracking_roi import flat_hand, placed

from posturewatch.tracking.crop import hand_scale_px
from posturewatch.tracking.forearm import ForearmNet, sd_deg_of


def test_sd_is_that_of_a_laplace_distribution() -> None:
    scale = np.radians(3.0)
    # scipy's own standard deviation of that distribution is the reference.
    assert sd_deg_of(float(np.log(scale))) == pytest.approx(np.degrees(laplace(scale=scale).std()))


class FixedNet(ForearmNet):
    """A network that always answers the same."""

    def __init__(self, row: list[float]) -> None:
        self._row = row + [0.0] * (21 - len(row))

    def _begin(self, fills: list[Callable[[NDArray[Any]], object]]) -> None:
        self._count = len(fills)

    def rows(self) -> NDArray[Any]:
        return np.tile(self._row, (self._count, 1))


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize("angle_deg", [0.0, 75.0, -160.0])
def test_the_axis_returns_to_the_picture(side: str, angle_deg: float) -> None:
    # In the crop of a left hand, (0, 1) continues the hand straight towards the elbow and (1, 0) leads
    # towards the thumb; in the picture they must, for either hand, whichever way it is turned.
    upright = flat_hand() if side == "left" else flat_hand() * [-1, 1, 1]
    hand = placed(upright, angle_deg, 1.5, (400.0, 300.0))
    image = np.zeros((600, 800, 3), np.uint8)
    hand_up = hand[[5, 9, 13, 17], :2].mean(axis=0) - hand[0, :2]
    (straight,) = FixedNet([0.0, 2.0, 0.0, 0.25, 7.0, 8.0, 1.0]).measure(image, [(hand, side)])  # type: ignore[list-item]
    assert straight.wrist_px == pytest.approx(hand[0, :2])
    axis = straight.towards_elbow_px - straight.wrist_px
    assert axis == pytest.approx(-hand_up / np.linalg.norm(hand_up) * hand_scale_px(hand))
    assert float(straight.outputs.depth_slope) == 0.25
    assert float(straight.outputs.forearm_logit) == 8.0
    # The logistic function at 1, by the table of any textbook.
    assert straight.strings_visible == pytest.approx(0.7311, abs=1e-4)
    (aside,) = FixedNet([1.0]).measure(image, [(hand, side)])  # type: ignore[list-item]
    thumb = hand[4, :2] - hand[0, :2]
    assert (aside.towards_elbow_px - aside.wrist_px) @ thumb > 0
