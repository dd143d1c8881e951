"""Labels go where there is room."""

import numpy as np
import pytest

from simulator.label_places import Page, around, beside


def test_label_keeps_off_a_line() -> None:
    page = Page(4.0, 4.0)
    # A wall to the right of the circle: the label may go anywhere but there.
    page.draw(np.full(200, 2.4), np.linspace(0.0, 4.0, 200))
    x, _ = page.place((1.0, 0.2), around((2.0, 2.0), 0.2, (1.0, 0.2)))
    assert x + 0.5 <= 2.4


def test_labels_keep_off_each_other() -> None:
    page = Page(6.0, 6.0)
    size = (1.0, 0.2)
    places = [page.place(size, around((3.0, 3.0), 0.2, size)) for _ in range(6)]
    for i, (x, y) in enumerate(places):
        for other_x, other_y in places[i + 1 :]:
            assert abs(x - other_x) >= 1.0 or abs(y - other_y) >= 0.2


def test_label_stays_on_the_page() -> None:
    page = Page(3.0, 3.0, bottom=0.5)
    x, y = page.place((1.0, 0.3), around((0.1, 0.6), 0.1, (1.0, 0.3)))
    assert x >= 0.5
    assert y >= 0.65


def test_candidates_beside_a_line_do_not_touch_it() -> None:
    """A level line at height 1: labels 0.2 high stay above 1.1 or below 0.9 in their middle."""
    rows = beside((0.0, 1.0), (4.0, 1.0), (0.8, 0.2))
    assert np.all(np.abs(rows[:, 1] - 1.0) > 0.1)
    assert rows[np.argmin(rows[:, 2]), 0] == pytest.approx(2.0)
