"""The picture of a wrap that changes as the roll beside the load-cell roller shrinks or grows."""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure

from simulator.figure_style import BLACK, BLUE, FONT, SMALL, VERMILION, WIDTH, plain_panel
from simulator.roll_wrap import RollWrap
from simulator.units import METRIC, UnitSystem


def draw_roll_wrap(found: RollWrap, *, tension: float, units: UnitSystem = METRIC) -> Figure:
    """Draw wrap and tension of the web over the roll, where the loop holds the display.

    The display is taken to be right at full roll.

    Args:
        found: of `wrap_over_roll`.
        tension: wanted, and shown on the display [N].
        units: the reader's units.
    """
    figure = Figure(figsize=(WIDTH, 2.7), layout="constrained")
    wrap, web = figure.subplots(1, 2)
    across = found.diameters * units.factor("diameter")
    wrap.plot(across, np.degrees(found.wraps), color=BLUE, lw=2.0)
    plain_panel(wrap, "wrap [°]")
    shown = units.show(tension, "tension")
    web.plot(across, shown / found.gains, color=VERMILION, lw=2.0, label="web")
    web.plot(across, np.full_like(across, shown), color=BLACK, lw=1.4, ls="--", label="display")
    plain_panel(web, f"tension held [{units.label('tension')}]")
    # A change of a per cent should look small.
    low, high = web.get_ylim()
    web.set_ylim(min(low, 0.9 * shown), max(high, 1.1 * shown))
    web.legend(fontsize=SMALL, frameon=False, ncols=2, loc="upper left")
    for axes in (wrap, web):
        axes.set_xlabel(f"roll diameter [{units.label('diameter')}]", fontsize=FONT)
        axes.set_xlim(across.max(), across.min())
    return figure
