"""Light of the panoramas and the webcam that photographs the renders."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from calibration.render.sensor import photograph, sample_sensor, tone_table
from calibration.scene.assets import (
    COSINE_BANDS,
    ROOMS,
    SKINS,
    harmonic_basis,
    panorama_directions,
    room_light,
    skin_tone,
)


def _solid_angles(height: int, width: int) -> NDArray[Any]:
    # The area of a latitude band on the unit sphere is 2 pi (cos a - cos b).
    edges = np.cos(np.linspace(0, np.pi, height + 1))
    return np.asarray(np.repeat((edges[:-1] - edges[1:])[:, None] * 2 * np.pi / width, width, axis=1))


def test_the_harmonics_are_orthonormal_on_the_sphere() -> None:
    basis = harmonic_basis(panorama_directions(180, 360)).reshape(-1, 9)
    products = basis.T @ (basis * _solid_angles(180, 360).reshape(-1, 1))
    np.testing.assert_allclose(products, np.eye(9), atol=2e-3)


@pytest.mark.parametrize("axis", [(0.0, 1.0, 0.0), (0.6, 0.0, -0.8), (-0.48, 0.6, 0.64)])
def test_irradiance_of_a_bright_upper_half_is_the_published_one(axis: tuple[float, float, float]) -> None:
    # A sky of radiance 1 above a black ground lights a surface tilted by t from the zenith with
    # pi (1 + cos t) / 2: the view factor of a tilted plane to the sky dome (Liu & Jordan 1963).
    # Nine coefficients are exact to about a hundredth of the sky there (Ramamoorthi & Hanrahan 2001).
    directions, solid = panorama_directions(180, 360), _solid_angles(180, 360)
    sky = (directions[..., 1] > 0) * solid
    harmonics = (harmonic_basis(directions) * sky[..., None]).sum((0, 1)) * COSINE_BANDS
    found = float(harmonic_basis(np.array(axis)) @ harmonics)
    assert found == pytest.approx((1 + axis[1]) / 2, abs=0.03)


@pytest.mark.parametrize("name", ROOMS)
def test_a_rooms_lamp_and_the_rest_together_are_its_light(name: str) -> None:
    # Against the plain sum over the panorama for a surface that faces the lamp.
    room = room_light(name)
    radiance = room.radiance.astype(float)
    height, width = radiance.shape[:2]
    facing = np.maximum(panorama_directions(height, width) @ room.lamp_direction, 0) * _solid_angles(
        height, width
    )
    expected = (radiance * facing[..., None]).sum((0, 1)) / np.pi
    found = harmonic_basis(room.lamp_direction) @ room.harmonics + room.lamp_irradiance
    np.testing.assert_allclose(found, expected, rtol=0.15)


def test_dark_and_light_skins_are_told_apart_by_their_own_colours() -> None:
    dark = [np.mean(skin_tone(name)) for name in SKINS if "darkskinned" in name]
    light = [np.mean(skin_tone(name)) for name in SKINS if "lightskinned" in name]
    assert max(dark) < 0.5 * min(light)


@pytest.mark.parametrize(
    ("rgb", "strongest"), [((0.6, 0.1, 0.1), 2), ((0.1, 0.6, 0.1), 1), ((0.1, 0.1, 0.6), 0)]
)
def test_the_sensor_keeps_red_red_and_blue_blue(rgb: tuple[float, float, float], strongest: int) -> None:
    light = np.broadcast_to(np.array(rgb, np.float32), (120, 160, 3)).copy()
    for seed in range(5):
        sensor = dataclasses.replace(sample_sensor(np.random.default_rng(seed)), crf=None)
        picture, _ = photograph(light, sensor, np.random.default_rng(1), np.ones((60, 80), np.uint8))
        assert picture[20:-20, 20:-20].mean((0, 1)).argmax() == strongest


def test_grey_stays_grey_with_a_true_white_balance() -> None:
    sensor = dataclasses.replace(sample_sensor(np.random.default_rng(3)), crf=None, balance=np.ones(3))
    light = np.full((120, 160, 3), 0.3, np.float32)
    picture, _ = photograph(light, sensor, np.random.default_rng(1), np.ones((60, 80), np.uint8))
    assert np.ptp(picture[20:-20, 20:-20].mean((0, 1))) < 2.0


def test_more_light_is_never_darker() -> None:
    for seed in range(20):
        steps = tone_table(sample_sensor(np.random.default_rng(seed))).astype(int)
        assert (np.diff(steps) >= 0).all()
        assert steps[-1] == 255
