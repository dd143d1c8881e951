"""The Kc–Ki plane: closed forms on its axes, eigenvalues and margins along its boundaries."""

import math

import numpy as np
import pytest

from simulator.machine import named_diameters
from tuning.design import design_for_roll
from tuning.gain_plane import _first_swing, gain_plane
from tuning.gains import Gains
from tuning.plant_bank import bank_of, plant_bank
from tuning.process_model import ProcessModel
from tuning.roll_grid import speeds_over


def first_swing(model, F, scan):
    bank = bank_of([model.linear_plant()], scan_time=scan)
    return float(_first_swing((bank.values * F(bank.omega))[None])[0])


def test_ultimate_gain_of_a_lag_with_dead_time():
    """K 2, T 10, L 2: Ku 4.25121 (exact, from w L + atan w T = pi), less half a scan of lag."""
    Ku = first_swing(ProcessModel("first order", 2.0, 10.0, 2.0), lambda w: 1.0, 0.002)
    assert Ku == pytest.approx(4.25121, rel=2e-3)


def test_integral_action_alone_on_a_light_resonance():
    """K Ki < 2 zeta w exactly, for the continuous loop."""
    w, zeta = 3.0, 0.1
    model = ProcessModel("second order", 1.0, 1.0 / w, 0.0, zeta)
    Ki = first_swing(model, lambda omega: 1.0 / (1j * omega), 0.0005)
    assert Ki == pytest.approx(2.0 * zeta * w, rel=0.01)


def test_boundaries_against_eigenvalues_and_margins(scenario):
    """On each ray: stable just inside the black line, not outside; Ms is the level on its line."""
    around = design_for_roll(scenario, kinds=("PI",)).gains
    for D in named_diameters(scenario).values():
        plane = gain_plane(scenario, diameter=D, around=around, levels=(1.3, 1.6))
        bank = plant_bank(scenario, [(D, v) for v in speeds_over(scenario, 4)])
        for ray in range(10, 115, 26):
            Kc, Ki = plane.stable_Kc[ray], plane.stable_Ki[ray]
            if not math.isfinite(Kc):
                continue
            inside, outside = (Gains(x * Kc, Kc / Ki) for x in (0.985, 1.015))
            assert np.isfinite(bank.severity(inside)[0]).all()
            assert not np.isfinite(bank.severity(outside)[0]).all()
            for level, across, up in zip(plane.levels, plane.Kc, plane.Ki, strict=True):
                Ms = bank.severity(Gains(across[ray], across[ray] / up[ray]))[0].max()
                assert Ms == pytest.approx(level, rel=0.015)


def test_calmer_limits_lie_inside(film, designed):
    around = designed(film).gains
    plane = gain_plane(film, diameter=0.3, around=around, levels=(1.2, 1.6, 2.0))
    for inner, outer in zip(plane.Ki, [*plane.Ki[1:], plane.stable_Ki], strict=True):
        on_axis = np.isfinite(outer) & (outer > 0.0)
        assert np.all(inner[on_axis] < outer[on_axis])
