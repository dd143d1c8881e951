"""Pictures of loops over the roll: Nyquist curves, and what a load leaves behind."""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure

from simulator import Scenario
from simulator.figure_style import (
    BLACK,
    BLUE,
    FONT,
    GREEN,
    GREY,
    SMALL,
    VERMILION,
    WIDTH,
    plain_panel,
)
from simulator.machine import named_diameters
from simulator.units import METRIC, UnitSystem
from tuning.design import RollDesign
from tuning.loop_responses import LoopResponses, loop_responses
from tuning.plant_bank import plant_bank
from tuning.roll_grid import speeds_over

# Part of a Nyquist curve that matters, about -1.
NEAR = (-2.6, 1.0, -2.2, 1.2)
FINER = 10
STYLES = ((BLUE, "-"), (VERMILION, (0, (6, 2))), (GREEN, (0, (2, 1.5))))


def draw_nyquist(design: RollDesign, scenario: Scenario, units: UnitSystem = METRIC) -> Figure:
    """Draw the loop's response about -1 at each named diameter, and the sensitivity beside it.

    Args:
        design: the recommended gains.
        scenario: the machine.
        units: that the reader wants.
    """
    figure = Figure(figsize=(WIDTH, 4.4), layout="constrained")
    near, size = figure.subplots(1, 2, width_ratios=(1, 1))
    angle = np.linspace(0.0, 2.0 * np.pi, 200)
    radius = 1.0 / design.ms_limit
    near.fill(-1.0 + radius * np.cos(angle), radius * np.sin(angle), color="#e8e8e8", zorder=1)
    near.plot(-1.0 + radius * np.cos(angle), radius * np.sin(angle), color=BLACK, lw=1.2)
    near.text(-1.0, radius + 0.05, f"Ms above {design.ms_limit:g}", fontsize=SMALL, ha="center")
    near.plot(-1.0, 0.0, "+", color=BLACK, ms=11, mew=1.6)
    for (name, D), (colour, dash) in zip(named_diameters(scenario).items(), STYLES, strict=False):
        bank = plant_bank(scenario, [(D, v) for v in speeds_over(scenario, 2)])
        Ms, _ = bank.severity(design.gains)
        worse = int(np.argmax(Ms))
        # Between the grid's own points, so that a loop of the curve is round.
        grid = np.log(bank.omega[worse])
        at = np.linspace(0.0, grid.size - 1.0, FINER * grid.size)
        omega = np.exp(np.interp(at, np.arange(grid.size), grid))
        every = np.broadcast_to(omega, (len(bank), omega.size))
        L = (bank.at(every) * bank.controller(design.gains, every))[worse]
        speed = units.text(bank.points[worse][1], "speed")
        near.plot(L.real, L.imag, color=colour, ls=dash, lw=1.6, label=f"{name}, {speed}")
        size.plot(omega / (2.0 * np.pi), 1.0 / np.abs(1.0 + L), color=colour, ls=dash, lw=1.6)
    near.set_aspect("equal")
    near.set_xlim(NEAR[0], NEAR[1])
    near.set_ylim(NEAR[2], NEAR[3])
    near.set_xlabel("real part of the loop's response [-]", fontsize=FONT)
    plain_panel(near, "imaginary part [-]")
    size.axhline(design.ms_limit, color=BLACK, lw=1.2, ls=(0, (4, 3)))
    size.text(0.01, design.ms_limit, f" limit {design.ms_limit:g}", fontsize=SMALL, va="bottom",
              transform=size.get_yaxis_transform())  # fmt: skip
    size.set_xscale("log")
    size.set_ylim(0.0, max(2.0, 1.1 * design.ms_limit))
    size.set_xlim(left=0.02)
    size.set_xlabel("frequency [Hz]", fontsize=FONT)
    plain_panel(size, "a disturbance is multiplied by [-]")
    figure.legend(*near.get_legend_handles_labels(), loc="outside upper left", ncols=3,
                  fontsize=SMALL, frameon=False)  # fmt: skip
    return figure


def draw_loads(design: RollDesign, scenario: Scenario, units: UnitSystem = METRIC) -> Figure:
    """Draw tension after a load step of 1 % of output, with one set of gains and with a schedule.

    Args:
        design: the recommended gains and the schedule.
        scenario: the machine.
        units: that the reader wants.
    """
    named = named_diameters(scenario)
    bank = plant_bank(scenario, [(D, scenario.run.line_speed) for D in named.values()])
    shown: list[tuple[LoopResponses, str, str, object]] = [
        (loop_responses(bank, design.gains), "one set of gains", BLUE, "-")
    ]
    if design.schedule.entries:
        each = [design.schedule.gains_at(D) for D in named.values()]
        shown.append(
            (loop_responses(bank, each), "gains that follow the diameter", GREEN, (0, (5, 2)))
        )
    figure = Figure(figsize=(WIDTH, 3.2), layout="constrained")
    panels = figure.subplots(1, len(named), sharex=True, sharey=True, squeeze=False)[0]
    per_cent = 0.01 * scenario.controller.tension_range * units.factor("tension")
    for i, (axes, (name, D)) in enumerate(zip(panels, named.items(), strict=True)):
        for response, label, colour, dash in shown:
            axes.plot(response.time, per_cent * response.load[i], color=colour, ls=dash, lw=1.7,
                      label=label)  # fmt: skip
        axes.axhline(0.0, color=GREY, lw=0.8)
        axes.set_title(f"{name}, {units.text(D, 'diameter')}", fontsize=SMALL, loc="left")
        axes.set_xlabel("time from the step [s]", fontsize=FONT)
        plain_panel(axes, "" if i else f"tension off setpoint [{units.label('tension')}]")
    panels[0].set_xlim(0.0, _settled(shown[0][0]))
    figure.legend(*panels[0].get_legend_handles_labels(), loc="outside upper left", ncols=2,
                  fontsize=SMALL, frameon=False)  # fmt: skip
    return figure


def _settled(response: LoopResponses) -> float:
    """Return the time [s] by which all loads are down to 2 % of the largest."""
    size = np.abs(response.load)
    late = (size > 0.02 * size.max()).any(axis=0)
    return float(response.time[min(int(np.flatnonzero(late)[-1]) + 2, response.time.size - 1)])
