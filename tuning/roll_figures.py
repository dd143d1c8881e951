"""Pictures of gains on the machine itself: setpoint steps over the roll, the hand-over."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from simulator import Scenario
from simulator.figure_style import BLACK, BLUE, SMALL, WIDTH, plain_panel
from simulator.figures import draw_trend
from simulator.units import METRIC, UnitSystem, sensible
from tuning.handover import Handover
from tuning.handover_words import jump_in_words
from tuning.roll_responses import RollResponse

# A bump below this share of the running tension is not worth a mark [%].
MARKED_BUMP = 0.5


def draw_responses(
    responses: Sequence[RollResponse], scenario: Scenario, units: UnitSystem = METRIC
) -> Figure:
    """Draw setpoint steps over the roll: a row for each speed, a column for each diameter.

    Args:
        responses: of one set of gains.
        scenario: the machine.
        units: that the reader wants.
    """
    columns = len({r.name for r in responses})
    if columns == 1:
        # A pull roll has one diameter: its two speeds stand side by side.
        columns = len(responses)
    rows = len(responses) // columns
    figure = Figure(figsize=(WIDTH, 0.9 + 2.0 * rows), layout="constrained")
    panels = figure.subplots(rows, columns, sharex=True, squeeze=False)
    scale = units.factor("tension")
    for axes, response in zip(panels.flat, responses, strict=True):
        trend = response.trend
        time = trend.time - response.stepped_at
        axes.step(
            time, scale * trend.setpoint, where="post", color=BLACK, lw=1.2, ls=(0, (4, 3)),
            label="setpoint",
        )  # fmt: skip
        axes.plot(time, scale * trend.web_tension, color=BLUE, lw=1.6, label="tension of the web")
        axes.set_title(
            f"{response.name}, {units.text(response.diameter, 'diameter')}, "
            f"{units.text(response.line_speed, 'speed')}",
            fontsize=SMALL, loc="left",
        )  # fmt: skip
        axes.text(
            0.97, 0.06, _response_words(response), transform=axes.transAxes, ha="right",
            va="bottom", fontsize=SMALL,
        )  # fmt: skip
    ends = scale * np.array([r.trend.setpoint[[0, -1]] for r in responses])
    # All panels are as tall, and where a taper moves the setpoint, not at the same tension.
    tall = float(np.ptp(ends, axis=1).max())
    same = float(np.ptp(ends[:, 0])) < 0.01 * tall
    for i, (axes, pair) in enumerate(zip(panels.flat, ends, strict=True)):
        # Room above for an overshoot, below for the words; what leaves it is told in words.
        axes.set_ylim(pair.min() - 1.1 * tall, pair.max() + 0.9 * tall)
        axes.tick_params(labelleft=not (same and i % columns))
    panels[0, 0].set_xlim(-0.05 * _shown(responses), _shown(responses))
    for i, axes in enumerate(panels.flat):
        plain_panel(axes, "" if i % columns else f"tension [{units.label('tension')}]")
    for axes in panels[-1, :]:
        axes.set_xlabel("time from the step [s]")
    handles, _ = panels[0, 0].get_legend_handles_labels()
    figure.legend(
        handles=handles, loc="outside upper left", ncols=2, fontsize=SMALL, frameon=False
    )  # fmt: skip
    return figure


def draw_handover(h: Handover, scenario: Scenario, units: UnitSystem = METRIC) -> Figure:
    """Draw the switch from manual to automatic with its bump.

    Args:
        h: the simulated hand-over.
        scenario: the machine.
        units: that the reader wants.
    """
    jump = f"jump of the output {jump_in_words(h.output_bump)}"
    figure = draw_trend(h.trend, units=units, title=f"{_bump_words(h, scenario, units)}; {jump}")
    if h.tension_bump >= MARKED_BUMP:
        _mark_bump(figure.axes[0], h, units.factor("tension"))
    return figure


def _shown(responses: Sequence[RollResponse]) -> float:
    """Return how much time after the step is worth showing [s]."""
    whole = float(responses[0].trend.time[-1] - responses[0].stepped_at)
    times = [r.metrics.settling_time if r.metrics else math.nan for r in responses]
    if any(math.isnan(t) for t in times):
        return whole
    return min(max(1.6 * max(times), 1.0), whole)


def _response_words(response: RollResponse) -> str:
    if not response.margins.stable:
        return "unstable"
    if response.metrics is None:
        return "the web is lost"
    settling = response.metrics.settling_time
    settled = f"settled in {sensible(settling, 2)} s" if math.isfinite(settling) else "not settled"
    return f"overshoot {response.metrics.overshoot:.0f} %\n{settled}"


def _bump_words(h: Handover, scenario: Scenario, units: UnitSystem) -> str:
    bump = units.text(0.01 * h.tension_bump * scenario.run.tension, "tension", digits=2)
    size = f"Bump in tension {h.tension_bump:.1f} % ({bump})"
    if h.tension_bump < 0.05:
        size = "No bump in tension"
    if not math.isfinite(h.settling):
        return f"{size}, not settled within this time"
    if h.settling == 0.0:
        return size
    return f"{size}, settled {sensible(h.settling, 2)} s after the switch"


def _mark_bump(axes: Axes, h: Handover, scale: float) -> None:
    """Point at the largest departure."""
    after = h.trend.automatic == 1.0
    tension = h.trend.web_tension[after]
    setpoint = float(h.trend.setpoint[-1])
    was = float(h.trend.web_tension[~after].mean())
    beyond = np.maximum(tension - max(was, setpoint), min(was, setpoint) - tension)
    i = int(np.argmax(beyond))
    at = float(h.trend.time[after][i])
    axes.plot(at, scale * tension[i], "v" if tension[i] > was else "^", color=BLACK, ms=8)
    axes.annotate(
        "bump", (at, scale * float(tension[i])), (10, 0), textcoords="offset points",
        va="center", fontsize=SMALL,
    )  # fmt: skip
