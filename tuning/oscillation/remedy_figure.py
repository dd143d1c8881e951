"""The picture of a remedy: the same machine with the gains at work and with the new ones."""

from __future__ import annotations

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from simulator import Trend
from simulator.figure_style import (
    BLACK,
    BLUE,
    FONT,
    GREEN,
    SMALL,
    VERMILION,
    WIDTH,
    page_line,
    plain_panel,
)
from simulator.reader_units import in_reader_units
from simulator.units import METRIC, UnitSystem, sensible
from tuning.margins import Margins
from tuning.oscillation.remedy import LoopRemedy
from tuning.tables import gains_in_words


def draw_remedy(remedy: LoopRemedy, units: UnitSystem = METRIC) -> Figure:
    """Draw the web's tension and the output before and after new gains, on the same axes.

    Both runs start steady in manual; the switch to automatic and the nudge of the setpoint are
    marked.

    Args:
        remedy: the two runs.
        units: the reader's units.
    """
    figure = Figure(figsize=(WIDTH, 5.4), layout="constrained")
    panels = figure.subplots(2, 2, sharex=True, sharey="row", height_ratios=(3, 2))
    runs = (
        ("Before", remedy.trend_before, remedy.before, remedy.margins_before, remedy.swing_before),
        ("After", remedy.trend_after, remedy.after, remedy.margins_after, remedy.swing_after),
    )
    for column, (name, trend, gains, margins, swing) in enumerate(runs):
        above, below = panels[0, column], panels[1, column]
        plain_panel(above, f"tension of the web [{units.label('tension')}]" * (column == 0))
        plain_panel(below, "output [%]" * (column == 0))
        _draw_run(above, below, trend, units)
        size = units.text(swing, "tension", digits=2)
        above.set_title(
            f"{name}: {_verdict(margins)}\n{gains_in_words(gains)}\n"
            f"swings {size} rms in the second half",
            fontsize=FONT, loc="left", pad=34.0,
        )  # fmt: skip
        below.set_xlabel("time [s]", fontsize=FONT)
        below.set_xlim(float(trend.time[0]), float(trend.time[-1]))
    handles, labels = panels[0, 0].get_legend_handles_labels()
    more = panels[1, 0].get_legend_handles_labels()
    figure.legend([*handles, *more[0]], [*labels, *more[1]], loc="outside lower center", ncols=3,
                  fontsize=SMALL, frameon=False)  # fmt: skip
    return figure


def draw_remedy_alt(remedy: LoopRemedy, units: UnitSystem = METRIC) -> str:
    """Return in a sentence what the picture of a remedy shows.

    Args:
        remedy: the two runs.
        units: the reader's units.
    """
    before = units.text(remedy.swing_before, "tension", digits=2)
    after = units.text(remedy.swing_after, "tension", digits=2)
    return (
        f"Tension and output after a switch to automatic and a nudge of the setpoint, at "
        f"{units.text(remedy.diameter, 'diameter')} and {units.text(remedy.line_speed, 'speed')}: "
        f"with the gains at work the web's tension swings {before} rms in the second half "
        f"({_verdict(remedy.margins_before)}), with the new gains {after} "
        f"({_verdict(remedy.margins_after)})."
    )


def _draw_run(above: Axes, below: Axes, trend: Trend, units: UnitSystem) -> None:
    factor = units.factor("tension")
    above.plot(*page_line(trend.time, factor * trend.web_tension), color=BLUE, lw=1.2,
               label="tension of the web")  # fmt: skip
    above.plot(*page_line(trend.time, factor * trend.setpoint), color=BLACK, lw=1.3, ls="-.",
               label="setpoint")  # fmt: skip
    below.plot(*page_line(trend.time, trend.output), color=GREEN, lw=1.2, label="output")
    for row, (time, text) in enumerate(sorted(trend.events)[:3]):
        for panel in (above, below):
            panel.axvline(time, color=VERMILION, lw=1.0, ls=":", zorder=1)
        above.annotate(
            in_reader_units(text, units), (time, 1.0), xycoords=("data", "axes fraction"),
            xytext=(3, 3 + 14 * (row % 2)), textcoords="offset points", fontsize=SMALL, ha="left",
            annotation_clip=False,
        )  # fmt: skip


def _verdict(margins: Margins) -> str:
    return f"Ms {sensible(margins.Ms)}" if margins.stable else "unstable"
