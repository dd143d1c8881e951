"""Errors of a fit whose scatter is no white noise."""

from dataclasses import replace

import numpy as np

from tuning.fit_errors import tapered_autocovariance, wandering
from tuning.fit_machine import fit_machine
from tuning.step_test import step_test


def wanderer(n, scan, time, rms, seed):
    """First-order autoregression: exp(-h/time) from sample to sample."""
    rng = np.random.default_rng(seed)
    a = np.exp(-scan / time)
    w = np.empty(n)
    w[0] = rng.standard_normal()
    for k in range(1, n):
        w[k] = a * w[k - 1] + np.sqrt(1.0 - a * a) * rng.standard_normal()
    return rms * w


def test_autocovariance_of_a_first_order_autoregression():
    """c[k] = exp(-k h/time), exact; less the taper, which falls to nothing at a third."""
    w = wanderer(200_000, 0.02, 0.5, 1.0, seed=4)
    c = tapered_autocovariance(w)
    lags = np.arange(c.size)
    expected = np.exp(-lags * 0.02 / 0.5) * (1.0 - lags / c.size)
    np.testing.assert_allclose(c[:100], expected[:100], atol=0.05)


def test_white_scatter_is_no_wandering_and_slow_scatter_is():
    white = np.random.default_rng(1).standard_normal(2000)
    assert wandering([white]) == ()
    slow = white + wanderer(2000, 0.02, 2.0, 1.0, seed=2)
    (note,) = wandering([slow])
    assert note.startswith("test 1") and "record longer" in note


def test_slow_scatter_under_white_noise_widens_the_errors(film):
    """White noise hides it from the correlation of neighbours, which tells of no more error."""
    trend = step_test(film, seed=3, runout=False).trend
    n, scan = trend.time.size, film.controller.scan_time
    shaken = replace(trend, tension=trend.tension + wanderer(n, scan, 2.0, 0.5, seed=5))
    plain, slow = (
        fit_machine(t, film).parameter("torque_device.full_torque") for t in (trend, shaken)
    )
    assert slow.standard_error > 2.0 * plain.standard_error
    assert abs(slow.after - 120.0) < 4.0 * slow.standard_error
