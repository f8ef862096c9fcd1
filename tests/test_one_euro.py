"""The display filter against the reference implementation on PyPI (OneEuroFilter, by the paper's authors)."""

from __future__ import annotations

import numpy as np
import pytest
from OneEuroFilter import OneEuroFilter

from posturewatch.kinematics.one_euro import OneEuro


@pytest.mark.parametrize(
    ("min_cutoff_hz", "beta", "derivative_cutoff_hz"), [(1.0, 0.0, 1.0), (0.3, 0.05, 1.0), (2.0, 1.5, 0.4)]
)
def test_the_reference_on_irregular_times(
    min_cutoff_hz: float, beta: float, derivative_cutoff_hz: float
) -> None:
    rng = np.random.default_rng(1)
    # The reference takes time 0.0 for no time at all, so its series starts later.
    times_s = 5.0 + np.cumsum(rng.uniform(0.005, 0.2, 400))
    values = np.cumsum(rng.normal(0, 4, 400))
    ours = OneEuro(min_cutoff_hz, beta, derivative_cutoff_hz)
    reference = OneEuroFilter(30.0, min_cutoff_hz, beta, derivative_cutoff_hz)
    for time_s, value in zip(times_s, values, strict=True):
        assert float(ours(value, time_s)) == pytest.approx(reference(value, time_s), rel=1e-12, abs=1e-12)


def test_time_zero_is_a_time_and_zero_is_a_value() -> None:
    early, late = OneEuro(), OneEuro()
    values = [0.0, 10.0, -5.0, 0.0, 3.0]
    shifted = [float(late(v, 100.0 + 0.1 * i)) for i, v in enumerate(values)]
    assert [float(early(v, 0.1 * i)) for i, v in enumerate(values)] == pytest.approx(shifted, rel=1e-9)


def test_arrays_are_filtered_element_by_element() -> None:
    rng = np.random.default_rng(2)
    together, apart = OneEuro(), [OneEuro() for _ in range(6)]
    for i in range(50):
        values = rng.normal(size=(2, 3))
        filtered = together(values, i / 30)
        singles = [float(one(v, i / 30)) for one, v in zip(apart, values.ravel(), strict=True)]
        assert np.allclose(filtered.ravel(), singles)


def test_reset_drops_the_value_and_the_speed() -> None:
    used, fresh = OneEuro(beta=1.0), OneEuro(beta=1.0)
    for i in range(20):
        used(30.0 * i, 0.03 * i)
    used.reset()
    for i, value in enumerate([0.0, 4.0, 1.0]):
        assert float(used(value, 1.0 + 0.03 * i)) == float(fresh(value, 1.0 + 0.03 * i))


def test_a_filtered_array_belongs_to_the_caller() -> None:
    filtered = OneEuro()
    first = filtered(np.array([1.0, 2.0]), 0.0)
    first[:] = 99.0
    assert filtered(np.array([1.0, 2.0]), 0.1) == pytest.approx([1.0, 2.0])


def test_time_that_stands_changes_nothing() -> None:
    one, other = OneEuro(), OneEuro()
    one(0.0, 0.0)
    other(0.0, 0.0)
    assert float(one(50.0, 0.0)) == 0.0
    assert float(one(5.0, 0.1)) == float(other(5.0, 0.1))


def test_what_cannot_be_filtered_is_refused() -> None:
    filtered = OneEuro()
    filtered(1.0, 1.0)
    with pytest.raises(ValueError, match="backwards"):
        filtered(1.0, 0.9)
    with pytest.raises(ValueError, match="finite"):
        filtered(float("nan"), 1.1)
    with pytest.raises(ValueError, match="shape"):
        filtered([1.0, 2.0], 1.1)
    with pytest.raises(ValueError, match="above 0"):
        OneEuro(min_cutoff_hz=0.0)
