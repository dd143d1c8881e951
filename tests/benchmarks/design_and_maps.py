"""Gains for the whole roll and all their maps, and the same map of Ms by python-control.

    python tests/benchmarks/design_and_maps.py

First, for each machine: the design with its schedule, Ms over 41 diameters × 13 speeds, and the
planes of Kc and Ki at full roll, half and core. Then Ms over a smaller grid of the film unwind, by
the bank of plants and by a loop over python-control, on the same sampled plants, the same
controller and the same frequencies; python-control also finds the closed loop's poles.
"""

from __future__ import annotations

import warnings

import control
import numpy as np
from film_case import SCENARIO, best_of, in_words, print_table, timed
from numpy.typing import NDArray

from simulator import Scenario, load_scenario
from simulator.machine import named_diameters
from tuning.design import RollDesign, design_for_roll
from tuning.gain_plane import gain_plane
from tuning.gains import Gains
from tuning.plant_bank import PlantBank, plant_bank
from tuning.roll_grid import roll_grid, sensitivity_map

HEAD = ("machine", "design", "map of Ms", "three planes", "all of it")
BY = ("map of Ms, film unwind", "operating points", "takes", "ratio", "largest difference")


def planes(scenario: Scenario, design: RollDesign) -> None:
    """Make the plane of Kc and Ki at every named diameter."""
    for D in named_diameters(scenario).values():
        gain_plane(scenario, diameter=D, around=design.gains)


def by_python_control(bank: PlantBank, gains: Gains) -> NDArray[np.float64]:
    """Return Ms of each plant, inf where unstable, one after the other."""
    Ac, Bc, Cc, Dc = gains.sampled_state_space(bank.scan_time)
    # Ours is from y to u with the minus of the feedback inside.
    pi = control.ss(Ac, Bc[:, None], -Cc[None, :], [[-Dc]], bank.scan_time)
    found = []
    for plant, omega in zip(bank.sampled, bank.omega, strict=True):
        A, B, C = plant.with_delay_states()
        loop = control.ss(A, B[:, None], C[None, :], [[0.0]], bank.scan_time) * pi
        closed = control.feedback(control.ss([], [], [], [[1.0]], bank.scan_time), loop)
        stable = bool(np.abs(closed.poles()).max() < 1.0)
        response = control.frequency_response(closed, omega).magnitude
        found.append(float(np.max(response)) if stable else np.inf)
    return np.array(found)


def main() -> None:
    warnings.simplefilter("ignore")
    rows = []
    for path in sorted(SCENARIO.parent.glob("*.toml")):
        machine = load_scenario(path)
        design_for_roll(machine)
        took, design = timed(lambda machine=machine: design_for_roll(machine))
        over = best_of(3, lambda m=machine, d=design: sensitivity_map(m, d.gains))
        plane = best_of(3, lambda m=machine, d=design: planes(m, d))
        rows.append([machine.title, *map(in_words, (took, over, plane, took + over + plane))])
    print_table(HEAD, rows)

    film = load_scenario(SCENARIO)
    gains = design_for_roll(film).gains
    points = roll_grid(film, diameters=15, speeds=7)
    bank = plant_bank(film, points)
    theirs, expected = timed(lambda: by_python_control(bank, gains))
    ours = best_of(5, lambda: plant_bank(film, points).severity(gains))
    Ms, _ = bank.severity(gains)
    apart = float(np.max(np.abs(Ms / expected - 1.0)))
    print_table(
        BY,
        [
            ["bank of plants", f"{len(points)}", in_words(ours), "1", ""],
            ["python-control", f"{len(points)}", in_words(theirs), f"{theirs / ours:.0f}",
             f"{apart:.1e}"],
        ],
    )  # fmt: skip


if __name__ == "__main__":
    main()
