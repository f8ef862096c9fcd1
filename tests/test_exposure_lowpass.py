"""The low-pass against scipy on uniform samples, and against signals that are known exactly on others."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import signal

from posturewatch.exposure.lowpass import butterworth, low_pass

NAN = float("nan")


def scipy_both_ways(values: NDArray[Any], rate_hz: float, cutoff_hz: float = 5.0) -> NDArray[Any]:
    """scipy.signal's own design and filtfilt (odd padding of its default length).

    Each pass is designed so that two of them have half the power at the cutoff: in the bilinear transform's
    warped frequency, its cutoff is that of both divided by (sqrt(2) - 1) ** (1 / 4).
    """
    warped = math.tan(math.pi * cutoff_hz / rate_hz) / (math.sqrt(2) - 1) ** 0.25
    b, a = signal.butter(2, 2 / math.pi * math.atan(warped))
    return np.asarray(signal.filtfilt(b, a, values))


@pytest.mark.parametrize("rate_hz", [12.0, 25.0, 29.97, 60.0, 120.0])
@pytest.mark.parametrize("count", [10, 37, 1000])
def test_scipy_on_uniform_samples(rate_hz: float, count: int) -> None:
    values = np.cumsum(np.random.default_rng(count).normal(0, 3, count))
    ours = low_pass(7.0 + np.arange(count) / rate_hz, values)
    assert ours == pytest.approx(scipy_both_ways(values, rate_hz), abs=1e-9)


def test_scipy_in_second_order_sections() -> None:
    """The same through another of scipy's implementations, with its padding set to filtfilt's."""
    values = np.random.default_rng(5).normal(0, 3, 400)
    warped = math.tan(math.pi * 5.0 / 30.0) / (math.sqrt(2) - 1) ** 0.25
    sections = signal.butter(2, 2 / math.pi * math.atan(warped), output="sos")
    theirs = signal.sosfiltfilt(sections, values, padtype="odd", padlen=9)
    assert low_pass(np.arange(400) / 30.0, values) == pytest.approx(theirs, abs=1e-9)


def test_runs_are_filtered_each_on_its_own() -> None:
    """Two runs with a gap: each equals scipy's answer for that run alone, and the gap stays open."""
    rng = np.random.default_rng(2)
    time_s, values = np.arange(300) / 30.0, np.cumsum(rng.normal(0, 2, 300))
    values[120:150] = NAN
    ours = low_pass(time_s, values)
    assert ours[:120] == pytest.approx(scipy_both_ways(values[:120], 30.0), abs=1e-9)
    assert ours[150:] == pytest.approx(scipy_both_ways(values[150:], 30.0), abs=1e-9)
    assert np.isnan(ours[120:150]).all()


def test_half_the_power_at_the_cutoff() -> None:
    b, a = butterworth(5.0, 30.0)
    (response,) = signal.freqz(b, a, [5.0], fs=30.0)[1]
    # Two passes: |H|^2 in amplitude, |H|^4 in power.
    assert abs(response) ** 4 == pytest.approx(0.5, abs=1e-12)


@pytest.mark.parametrize("bad", [0.0, -1.0, 15.0, 20.0])
def test_a_cutoff_outside_the_band_is_refused(bad: float) -> None:
    with pytest.raises(ValueError, match="half the rate"):
        butterworth(bad, 30.0)


@pytest.mark.parametrize(("frequency_hz", "kept"), [(0.5, 1.0), (1.0, 0.997), (12.0, 0.0)])
def test_irregular_times_against_a_sine(frequency_hz: float, kept: float) -> None:
    """A sine sampled at irregular times comes back in phase with the filter's gain, which for the analogue
    prototype is 1 / (1 + (f / fc)^4) for both passes, fc = 5 Hz / 0.802."""
    rng = np.random.default_rng(3)
    time_s = np.cumsum(rng.uniform(0.010, 0.025, 4000))
    clean = 20.0 * np.sin(2 * np.pi * frequency_hz * time_s)
    ours = low_pass(time_s, clean)
    inner = slice(100, -100)
    assert np.abs(ours - kept * clean)[inner].max() < 0.4 if kept else np.abs(ours[inner]).max() < 2.5


def test_a_straight_line_stays_a_straight_line_at_any_times() -> None:
    time_s = np.cumsum(np.random.default_rng(4).uniform(0.01, 0.2, 500))
    line = 3.0 - 2.0 * time_s
    ours = low_pass(time_s, line)
    assert ours[20:-20] == pytest.approx(line[20:-20], abs=1e-9)
    # At the ends the filter is settled on a level, not on a slope; scipy's is off by as much.
    assert ours == pytest.approx(line, abs=1e-3)


def test_fast_noise_is_taken_away() -> None:
    rng = np.random.default_rng(6)
    time_s = np.round(np.cumsum(rng.choice([0.033, 0.034, 0.067], 3000)), 3)
    clean = 15.0 * np.sin(2 * np.pi * 0.3 * time_s)
    noise = rng.normal(0, 3, 3000)
    left = low_pass(time_s, clean + noise) - clean
    assert np.std(left) < 0.75 * np.std(noise)


@pytest.mark.parametrize(
    ("time_s", "value"),
    [
        ([], []),
        ([1.0], [5.0]),
        ([1.0, 1.1], [5.0, NAN]),
        # Nine grid points are one too few.
        (np.arange(9) / 30.0, np.arange(9) % 2 * 10.0),
        # Eleven samples a second hold next to nothing above 5 Hz to take away.
        (np.arange(50) / 10.0, np.arange(50) % 2 * 10.0),
        (np.arange(50) / 10.9, np.arange(50) % 2 * 10.0),
        # All samples farther apart than a run allows.
        (np.arange(50) * 0.3, np.arange(50) % 2 * 10.0),
        # A clock that stands.
        (np.zeros(20), np.arange(20.0)),
    ],
)
def test_what_cannot_be_smoothed_stays_as_it_is(time_s: list[float], value: list[float]) -> None:
    values = np.asarray(value, float)
    ours = low_pass(np.asarray(time_s, float), values)
    assert np.array_equal(ours, values, equal_nan=True)
    assert ours is not values


def test_a_source_that_doubles_its_rate() -> None:
    """15 pictures a second in dim light, then 30: no jump, no loss, where the rate changes."""
    time_s = np.concatenate([np.arange(0, 20, 1 / 15), np.arange(20, 40, 1 / 30)])
    clean = 20.0 * np.sin(2 * np.pi * 0.5 * time_s)
    assert np.abs(low_pass(time_s, clean) - clean)[20:-20].max() < 0.6


def test_the_quicker_part_of_a_source_is_not_thinned_out() -> None:
    """Shaking at 12 Hz, seen at 30 samples a second after a longer time at 15: on a grid of 15 it would pass for
    3 Hz and stay."""
    time_s = np.concatenate([np.arange(0, 20, 1 / 15), np.arange(20, 26, 1 / 30)])
    shaking = 10.0 * np.sin(2 * np.pi * 12.0 * time_s)
    assert np.abs(low_pass(time_s, shaking)[310:-10]).max() < 1.5


def test_times_out_of_order_are_refused() -> None:
    with pytest.raises(ValueError, match="backwards"):
        low_pass(np.array([0.0, 0.2, 0.1]), np.zeros(3))
    with pytest.raises(ValueError, match="one shape"):
        low_pass(np.zeros(3), np.zeros(4))


@settings(max_examples=60, deadline=None)
@given(
    steps=st.lists(
        st.sampled_from([0.0, 0.001, 0.02, 0.033, 0.1, 0.25, 0.26, 2.0]), min_size=1, max_size=120
    ),
    seed=st.integers(0, 1000),
)
def test_only_measured_samples_get_a_value_and_mirroring_mirrors(steps: list[float], seed: int) -> None:
    rng = np.random.default_rng(seed)
    time_s = np.cumsum(steps)
    values = np.where(rng.random(time_s.size) < 0.2, NAN, rng.normal(0, 20, time_s.size))
    ours = low_pass(time_s, values)
    assert np.array_equal(np.isnan(ours), np.isnan(values))
    assert np.array_equal(low_pass(time_s, -values), -ours, equal_nan=True)
    # What is far from everything else hears nothing of it.
    later = low_pass(np.append(time_s, time_s[-1] + 10.0), np.append(values, 1e6))
    assert later[:-1] == pytest.approx(ours, nan_ok=True, abs=1e-6)
