"""The data sheet of a machine's load cells, usual values where its file has none."""

from __future__ import annotations

from simulator.scenario import Scenario
from simulator.sensing_and_control import DataSheet


def data_sheet(scenario: Scenario) -> DataSheet:
    """Return the data sheet of a machine's load cells.

    Args:
        scenario: the machine.
    """
    return scenario.data_sheet or DataSheet()


def assumed_sheet(scenario: Scenario) -> tuple[str, ...]:
    """Return what to know where the data sheet is assumed; nothing where it is given.

    Args:
        scenario: the machine.
    """
    if scenario.data_sheet is not None:
        return ()
    usual = DataSheet()
    return (
        "the machine's file has no data sheet of its load cells: "
        f"{usual.sensitivity:g} mV/V, {usual.excitation:g} V and an overload of "
        f"{usual.overload:g} % are assumed",
    )


def cell_signal(sheet: DataSheet, load: float, rated_load: float) -> float:
    """Return the signal of a cell under a load [mV].

    Args:
        sheet: its data sheet.
        load: on the cell [N].
        rated_load: of the cell [N].
    """
    return sheet.sensitivity * sheet.excitation * load / rated_load


def reading_step(scenario: Scenario) -> float:
    """Return the smallest step of the reading, in tension [N]: the converter's over the measured
    scale, or the reading's own where that is coarser.

    Args:
        scenario: the machine.
    """
    converter = scenario.controller.tension_range / 2.0 ** data_sheet(scenario).bits
    return max(converter, scenario.load_cell.resolution)
