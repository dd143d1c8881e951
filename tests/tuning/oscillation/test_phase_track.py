"""The tracked phase against the phase that made the record."""

import math

import numpy as np
import pytest

from tuning.oscillation.phase_track import piece_length, track_phase

INTERVAL = 0.05


def chirp(samples, frequency, drift):
    """Phase of an oscillation whose frequency changes by a share from start to end [rad]."""
    time = np.arange(samples) * INTERVAL
    middle = 0.5 * time[-1]
    return 2.0 * math.pi * frequency * (time + drift * time * (time - 2.0 * middle) / (4 * middle))


def off(found, true):
    """Difference of two phases, turned to within half a turn [rad]."""
    return np.angle(np.exp(1j * (found - true)))


@pytest.mark.parametrize("samples", [60, 240, 4000, 100_000])
@pytest.mark.parametrize("drift", [0.0, 0.04, -0.04])
def test_a_clean_oscillation_is_followed(samples, drift):
    phase = chirp(samples, 1.13, drift)
    found = track_phase(3.0 * np.cos(phase + 0.7), INTERVAL, 1.13)
    # One frequency is fitted to each piece, and a sine to a chirp: a tenth of a radian at most.
    worst = 0.12 if drift else 1e-6
    assert np.max(np.abs(off(found, phase + 0.7))) < worst


def test_a_frequency_off_by_a_quarter_of_a_cycle_is_put_right():
    time = np.arange(2000) * INTERVAL
    found = track_phase(np.cos(2.0 * math.pi * 1.13 * time), INTERVAL, 1.13 + 0.25 / time[-1])
    assert np.max(np.abs(off(found, 2.0 * math.pi * 1.13 * time))) < 0.02


def test_a_noisy_oscillation_is_averaged_over_long():
    """With the frequency known, N samples with noise s leave a phase error of s sqrt(2/N)/A."""
    phase, noise = chirp(4000, 1.13, 0.0), 2.0
    wrong = []
    for start in range(20):
        values = np.cos(phase) + noise * np.random.default_rng(start).normal(size=phase.size)
        wrong.append(np.sqrt(np.mean(off(track_phase(values, INTERVAL, 1.13), phase) ** 2)))
    assert np.median(wrong) < 5.0 * noise * math.sqrt(2.0 / phase.size)


def test_pieces_leave_less_than_one_over():
    for samples in (30, 61, 997, 100_003):
        pieces, length = piece_length(samples, INTERVAL, 1.13)
        assert length * INTERVAL * 1.13 >= min(3.0, samples * INTERVAL * 1.13)
        assert 0 <= samples - pieces * length < length
        assert piece_length(pieces * length, INTERVAL, 1.13) == (pieces, length)
