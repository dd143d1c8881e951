"""Where to write labels on a drawing: beside what they name, over nothing else."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

Array = NDArray[np.float64]

# Clear space around a label [inch].
_PAD = 0.05
_OVER_LABEL, _OVER_DRAWING, _OFF_PAGE = 1e3, 1.0, 1e4
# A line between a label and what it names makes it look like that line's label.
_CUT_OFF, _NEAR = 4.0, 0.03  # [-], [inch]


@dataclass
class Page:
    """A page that fills up with lines and labels; positions in inches from its lower left.

    Attributes:
        width: of the page [inch].
        height: of the page [inch].
        bottom: lowest place for a label [inch].
        ink: points on everything drawn so far, shape (n, 2) [inch].
        boxes: left, bottom, right, top of every label so far [inch].
    """

    width: float
    height: float
    bottom: float = 0.0
    ink: Array = field(default_factory=lambda: np.zeros((0, 2)))
    boxes: list[tuple[float, float, float, float]] = field(default_factory=list)

    def draw(self, x: NDArray[Any], y: NDArray[Any]) -> None:
        """Take note of a line, given by points that lie close together.

        Args:
            x: shape (n,) [inch].
            y: shape (n,) [inch].
        """
        self.ink = np.vstack([self.ink, np.column_stack([x, y])])

    def place(self, size: tuple[float, float], candidates: Array) -> tuple[float, float]:
        """Choose where the middle of a label goes, and take note of it.

        Args:
            size: width and height of the label [inch].
            candidates: possible middles, the price of each and the point that it names, rows of
                x [inch], y [inch], price [-], x [inch] and y [inch], shape (n, 5).
        """
        half = 0.5 * np.asarray(size) + _PAD
        low, high = candidates[:, :2] - half, candidates[:, :2] + half
        price = candidates[:, 2].copy()
        for left, bottom, right, top in self.boxes:
            price += _OVER_LABEL * (
                (low[:, 0] < right) & (high[:, 0] > left)
                & (low[:, 1] < top) & (high[:, 1] > bottom)
            )  # fmt: skip
        inside = np.all((self.ink > low[:, None]) & (self.ink < high[:, None]), axis=2)
        price += _OVER_DRAWING * inside.sum(axis=1)
        off = (low[:, 0] < 0.0) | (high[:, 0] > self.width)
        off |= (low[:, 1] < self.bottom) | (high[:, 1] > self.height)
        price += _OFF_PAGE * off
        price += _CUT_OFF * self._cut_off(candidates)
        best = int(np.argmin(price))
        self.boxes.append((*map(float, low[best]), *map(float, high[best])))  # type: ignore[arg-type]
        return float(candidates[best, 0]), float(candidates[best, 1])

    def _cut_off(self, candidates: Array) -> NDArray[np.bool_]:
        """Whether something is drawn between each label and what it names, shape (n,)."""
        share = np.linspace(0.35, 0.9, 4)[:, None, None]
        way = candidates[:, 3:5] + share * (candidates[:, :2] - candidates[:, 3:5])
        apart, _ = cKDTree(self.ink).query(way.reshape(-1, 2), distance_upper_bound=_NEAR)
        return np.asarray(np.any(np.isfinite(apart).reshape(way.shape[:2]), axis=0))


def around(centre: tuple[float, float], radius: float, size: tuple[float, float]) -> Array:
    """Return candidates for a label around a circle, nearest first in price.

    Args:
        centre: of the circle [inch].
        radius: of the circle [inch].
        size: width and height of the label [inch].

    Returns:
        Rows as `Page.place` wants them, shape (n, 5).
    """
    angle, gap = np.meshgrid(np.linspace(0.0, 2.0 * np.pi, 36, endpoint=False),
                             [0.08, 0.2, 0.45, 0.8, 1.3, 2.0])  # fmt: skip
    cos, sin = np.cos(angle), np.sin(angle)
    reach = radius + gap + 0.5 * (np.abs(cos) * size[0] + np.abs(sin) * size[1])
    x, y = centre[0] + reach * cos, centre[1] + reach * sin
    rim_x, rim_y = centre[0] + radius * cos, centre[1] + radius * sin
    return np.column_stack([part.ravel() for part in (x, y, gap, rim_x, rim_y)])


def beside(
    start: tuple[float, float], end: tuple[float, float], size: tuple[float, float]
) -> Array:
    """Return candidates for a label on either side of a straight line, mid-way first in price.

    Args:
        start: of the line [inch].
        end: of the line [inch].
        size: width and height of the label [inch].

    Returns:
        Rows as `Page.place` wants them, shape (n, 5).
    """
    along = np.subtract(end, start)
    normal = np.array([-along[1], along[0]]) / max(float(np.hypot(*along)), 1e-12)
    reach = 0.5 * (abs(normal[0]) * size[0] + abs(normal[1]) * size[1])
    rows = []
    for share in (0.5, 0.42, 0.58, 0.34, 0.66, 0.26, 0.74, 0.15, 0.85):
        for gap in (0.08, 0.16, 0.35, 0.7):
            for side in (1.0, -1.0):
                named = np.asarray(start) + share * along
                middle = named + side * (gap + reach) * normal
                rows.append((*middle, gap + abs(share - 0.5), *named))
    return np.array(rows)
