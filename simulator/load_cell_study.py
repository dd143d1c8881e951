"""Is the load cell placed, sized and calibrated right: what paper tells before the floor does."""

from __future__ import annotations

from dataclasses import dataclass

from simulator.calibration import CalibrationPlan, calibration_plan
from simulator.cell_placement import Placement, place_cells
from simulator.cell_sizing import Sizing, size_cells
from simulator.scenario import Scenario


@dataclass(frozen=True)
class LoadCellStudy:
    """What paper tells about a machine's load cells.

    Attributes:
        placement: how they stand to the web's pull.
        sizing: what they must bear, and which rating does.
        calibration: which weight to hang, and what to read.
        warnings: of all three, each once.
    """

    placement: Placement
    sizing: Sizing
    calibration: CalibrationPlan
    warnings: tuple[str, ...]


def load_cell_study(
    scenario: Scenario,
    *,
    sizing: Sizing | None = None,
    calibration: CalibrationPlan | None = None,
) -> LoadCellStudy:
    """Return what paper tells about a machine's load cells.

    Args:
        scenario: the machine.
        sizing: where it was made with other settings than the usual ones.
        calibration: likewise.
    """
    placement = place_cells(scenario)
    sizing = sizing or size_cells(scenario)
    calibration = calibration or calibration_plan(scenario)
    warnings = (*placement.warnings, *sizing.warnings, *calibration.warnings)
    return LoadCellStudy(placement, sizing, calibration, tuple(dict.fromkeys(warnings)))
