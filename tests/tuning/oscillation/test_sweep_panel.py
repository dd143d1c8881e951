"""Lines of a machine over a sweep: which are drawn, where they break, where they fold."""

import math

import numpy as np
import pytest

from tuning.oscillation.frequency_map import FrequencyLine, Sweep
from tuning.oscillation.sweep_panel import curves, frequency_limits, share

V = np.geomspace(1.0, 10.0, 21)


def sweep(*lines):
    return Sweep(np.full(V.size, 0.5), V, lines)


def drawn(*lines, half=1e3, measured=1.0, place=10):
    return {one.words: one for one in
            curves(sweep(*lines), place=place, half=half, measured=measured)}  # fmt: skip


def test_share_of_a_logarithmic_axis():
    assert share(10.0, (1.0, 100.0)) == pytest.approx(0.5)


def test_bodies_of_one_size_are_one_line():
    found = drawn(FrequencyLine("roller 1", "roller", V), FrequencyLine("roller 2", "roller", V))
    assert list(found) == ["roller 1, roller 2"]


def test_what_is_damped_too_much_to_swing_is_not_drawn():
    # beyond 1/sqrt(2) a second-order response has no peak (textbook)
    damping = np.where(V > 3.0, 0.72, 0.70)
    f = drawn(FrequencyLine("swing", "swing", np.full(V.size, 2.0), damping))["swing"].frequency
    np.testing.assert_array_equal(np.isnan(f), V > 3.0)


def test_a_swing_that_goes_over_to_another_breaks():
    frequency = np.where(V > 3.0, 20.0, 2.0)
    f = drawn(FrequencyLine("loop", "loop", frequency, np.full(V.size, 0.1)))["loop"].frequency
    assert np.isnan(f).sum() == 1


def test_fast_turns_fold_at_half_the_sample_rate():
    found = drawn(FrequencyLine("nip", "nip", V), half=5.0, measured=3.0)
    folded = found["nip folded"].frequency
    # |f - 10 Hz| at ten samples a second
    over = (V > 5.0) & (V < 10.0)
    np.testing.assert_allclose(folded[over], 10.0 - V[over])
    assert np.isnan(folded[~over]).all()
    assert "nip folded" not in drawn(FrequencyLine("nip", "nip", V), half=50.0)


def test_a_higher_multiple_only_on_the_oscillation():
    line = FrequencyLine("roll", "roll", V)
    assert set(drawn(line, measured=3.0 * V[10])) == {"roll", "3× roll"}
    assert set(drawn(line, measured=3.3 * V[10])) == {"roll"}


def test_limits_hold_the_oscillation_and_what_the_machine_does_at_speed():
    low, high = frequency_limits([sweep(FrequencyLine("roll", "roll", V))], 0.01)
    assert low < 0.01 and high > 10.0
    low, high = frequency_limits([sweep(FrequencyLine("roll", "roll", V))], math.nan)
    assert 1.0 < low < V[10] and high > 10.0
