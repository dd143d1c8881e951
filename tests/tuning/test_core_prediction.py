"""What a machine learned at full roll says about the core, where no test was made."""

from dataclasses import replace

import numpy as np
import pytest

from tests.tuning.pictures import check_readable
from tuning.core_prediction import predict_core
from tuning.fit_machine import fit_machine
from tuning.fit_machine_figures import draw_core_prediction
from tuning.step_test import step_test


def test_the_learned_machine_foresees_the_core_and_the_process_model_does_not(film):
    true = replace(
        film,
        web=replace(film.web, modulus=1.2 * film.web.modulus),
        torque_device=replace(film.torque_device, full_torque=108.0, lag=0.18),
    )
    fit = fit_machine(step_test(true, seed=2, runout=False).trend, film)
    found = predict_core(fit, true=true)
    assert found.diameter == film.roll.core_diameter

    def miss(foreseen):
        return float(np.sqrt(np.mean((foreseen - found.true) ** 2)))

    assert miss(found.learned) < 0.2 * miss(found.described)
    assert miss(found.learned) < 0.05 * miss(found.model)
    assert "machine as learned" in check_readable(draw_core_prediction(found))


def test_without_the_true_machine_there_is_none_to_compare_with(nonwoven):
    fit = fit_machine(step_test(nonwoven, runout=False).trend, nonwoven)
    found = predict_core(fit)
    assert found.true.size == 0
    # It rises to step times tension per per cent, which goes with 1/R.
    assert found.learned[-1] == pytest.approx(found.described[-1], rel=0.05)
    assert "machine itself" not in check_readable(draw_core_prediction(found))
