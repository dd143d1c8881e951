"""How pictures look: colours that stay apart for every reader, and panels that share a look.

Palette: Okabe & Ito, "Color universal design" (2008), colour values from memory. A colour never
stands alone: each line also has its own dash, and each mark its word.
"""

from __future__ import annotations

import math

import numpy as np
from matplotlib.axes import Axes
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import TextPath
from numpy.typing import NDArray

Array = NDArray[np.float64]

BLACK = "#000000"
ORANGE = "#E69F00"
SKY = "#56B4E9"
GREEN = "#009E73"
BLUE = "#0072B2"
VERMILION = "#D55E00"
GREY = "#666666"

FONT = 10.0  # [points]
SMALL = 9.0  # [points]; nothing is smaller
WIDTH = 10.0  # of a picture [inch]
MOST_PAIRS = 1150  # of least and largest value drawn for one line [-]


def plain_panel(axes: Axes, label: str) -> None:
    """Give a panel its y label, a light grid and no box.

    Args:
        axes: of the panel.
        label: what the y axis shows, with its unit.
    """
    axes.set_ylabel(label, fontsize=FONT)
    axes.tick_params(labelsize=SMALL)
    axes.grid(True, color="#dddddd", linewidth=0.6)
    axes.set_axisbelow(True)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)


def text_size(text: str, *, points: float, weight: str = "normal") -> tuple[float, float]:
    """Return width and height of a text in the default font, over all its lines [inch].

    Args:
        text: to measure, one line or several.
        points: size of the font [points].
        weight: of the font, "normal" or "bold".
    """
    font = FontProperties(size=points, weight=weight)
    # A dollar sign would start a formula; any other sign of its width does.
    lines = text.replace("$", "S").split("\n")
    # The rightmost point of the letters' outlines; blank lines have none.
    widths = [
        float(TextPath((0.0, 0.0), line, prop=font).vertices[:, 0].max()) if line.strip() else 0.0
        for line in lines
    ]
    return max(widths) / 72.0, len(lines) * 1.4 * points / 72.0


def round_size(size: float) -> float:
    """Return the largest of 1, 2, 5 times a power of ten that is not above a size [any].

    Args:
        size: above 0 [any].
    """
    power = 10.0 ** math.floor(math.log10(size))
    return next(step * power for step in (5.0, 2.0, 1.0) if step * power <= size * (1 + 1e-12))


def page_line(time: Array, values: Array) -> tuple[Array, Array]:
    """Return time and values of a line that looks the same on a page, of few points.

    Of each short stretch the least and the largest value are kept: all that a page can show.

    Args:
        time: increasing, shape (n,) [s].
        values: shape (n,) [any].

    Returns:
        Time [s] and values [any], two for each of at most `MOST_PAIRS` stretches, and the last.
    """
    n = time.size
    if n <= 2 * MOST_PAIRS:
        return time, values
    edges = np.linspace(0, n, MOST_PAIRS + 1).astype(np.int64)[:-1]
    low = np.fmin.reduceat(values, edges)
    high = np.fmax.reduceat(values, edges)
    # A stretch that falls is drawn falling.
    falls = values[edges] > values[np.append(edges[1:], n) - 1]
    first, second = np.where(falls, high, low), np.where(falls, low, high)
    stretch = np.append(np.diff(time[edges]), time[-1] - time[edges[-1]])
    x = np.column_stack([time[edges], time[edges] + 0.5 * stretch]).ravel()
    y = np.column_stack([first, second]).ravel()
    return np.append(x, time[-1]), np.append(y, values[-1])
