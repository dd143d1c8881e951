"""What all pictures share: a line of few points that looks like one of many."""

import numpy as np

from simulator.figure_style import MOST_PAIRS, page_line


def test_a_long_line_keeps_every_extreme():
    values = np.random.default_rng(1).normal(size=100_003)
    time = 10.0 + 0.5 * np.arange(values.size)
    at, drawn = page_line(time, values)
    assert drawn.size <= 2 * MOST_PAIRS + 1 < 2400
    assert drawn.max() == values.max() and drawn.min() == values.min()
    assert np.all(np.diff(at) >= 0.0) and at[-1] == time[-1]
    # The largest is drawn within a stretch of where it was.
    assert abs(at[drawn.argmax()] - time[values.argmax()]) <= 0.5 * 100_003 / MOST_PAIRS


def test_a_short_line_is_drawn_as_it_is():
    time, values = np.arange(40.0), np.arange(40.0) ** 2
    assert page_line(time, values) == (time, values)
