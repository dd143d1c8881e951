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
