"""At the machine: three readings say whether zero and gain are right, and what to set.

With nothing on the roller, with the known weight, and with nothing again:

    zero          = (empty + after) / 2
    gain          = (loaded - zero) / m g                                  [reading per newton]
    gain error    = gain / ideal gain - 1, which is the error at the end of the scale, in % of it
    to set        zero first: reading - zero; then the span: times ideal gain / gain

Each reading may be off by r, and the zero by half of what it did not return, so the gain by
(2 r + |after - empty| / 2) / (m g x ideal), which a small weight makes large. Where the readings
can't decide, the verdict is "cannot tell" and never "right". Why a gain is wrong is read off its
ratio to the ideal one (`gain_reasons`). Allowed errors are common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

from simulator.calibration import CalibrationPlan, calibration_plan, most_pull
from simulator.calibration_words import check_warnings, headline, next_steps
from simulator.cell_forces import forces_on, load_per_tension
from simulator.data_sheet import cell_signal, data_sheet, reading_step
from simulator.gain_reasons import gain_reasons, judge_sides
from simulator.scenario import Scenario
from simulator.sensing_and_control import LoadCell

Kind = Literal["display", "signal"]
Verdict = Literal["right", "wrong", "cannot tell"]

# Allowed error at the end of the scale [%]; the bare signal hangs on data sheet and drawing, which
# are not known better. Common practice, no source.
ALLOWED = {"display": 0.5, "signal": 5.0}
# Signal that unloaded cells may have of their own, of that at rated load [-]; common practice.
ZERO_BALANCE = 0.05
# Means of readings that flicker are this good, of the noise: 1/sqrt(25) of some 25 of them [-].
OF_NOISE = 0.2


@dataclass(frozen=True)
class CalibrationCheck:
    """What three readings say; they are in N for a display, in mV for a signal.

    Attributes:
        plan: what was to be expected.
        cells: load cells under the roller [-].
        kind: "display" or "signal".
        tolerance: allowed error, of the measured scale [%].
        empty: reading with nothing on the roller, before [N or mV].
        loaded: with the weight [N or mV].
        after: with nothing again [N or mV].
        zero_expected: right reading with nothing on the roller [N or mV].
        ideal_gain: right reading per newton of tension [N/N or mV/N].
        gain: as found [N/N or mV/N].
        gain_ratio: gain over ideal gain [-].
        gain_error: how much too high it is [%].
        gain_uncertainty: how far the true gain error may be from that, either way [%].
        zero_error: how much too high the zero is [N or mV].
        zero_allowed: how far it may be off [N or mV].
        zero_shift: what to add to readings first, so that nothing shows 0 [N or mV].
        span_factor: what to multiply them by then [-]; nan where no span is to be set.
        at_end: whether the display stood at the end of its scale, so that it hides some of the
            weight [-].
        end_error: how far, at most, the end of the scale may read off by all of this [N or mV].
        most_at_one_end: pull of the largest weight that may hang at one end of the roller [N].
        residual: what stayed after removal [N or mV].
        residual_tension: the same as tension [N].
        residual_share: the same, of the measured scale [%].
        zero_verdict: whether the zero is right.
        gain_verdict: whether the gain is right.
        return_verdict: whether the zero returns.
        rope_off_middle: where the left and right cells say the rope hangs, of the distance between
            them [-], above 0 to the left; nan where they say nothing.
        sides: what left and right say, in words; empty where they were not read.
        sides_agree: whether left and right share the weight as they should; None if not read.
        reasons: for a gain that is off, the likeliest first.
        fitting: those of them that make just this gain.
        headline: one sentence.
        next_steps: what to do, in order.
        warnings: what a reader should know besides the plan's.
    """

    plan: CalibrationPlan
    cells: int
    kind: Kind
    tolerance: float
    empty: float
    loaded: float
    after: float
    zero_expected: float
    ideal_gain: float
    gain: float
    gain_ratio: float
    gain_error: float
    gain_uncertainty: float
    zero_error: float
    zero_allowed: float
    zero_shift: float
    span_factor: float
    at_end: bool
    end_error: float
    most_at_one_end: float
    residual: float
    residual_tension: float
    residual_share: float
    zero_verdict: Verdict
    gain_verdict: Verdict
    return_verdict: Verdict
    rope_off_middle: float
    sides: str
    sides_agree: bool | None
    reasons: tuple[str, ...]
    fitting: tuple[str, ...]
    headline: str
    next_steps: tuple[str, ...]
    warnings: tuple[str, ...]

    @property
    def passed(self) -> bool:
        """Whether everything that was read is right."""
        verdicts = (self.zero_verdict, self.gain_verdict, self.return_verdict)
        return all(verdict == "right" for verdict in verdicts) and self.sides_agree is not False


def check_calibration(
    scenario: Scenario,
    *,
    mass: float,
    empty: float,
    loaded: float,
    after: float,
    kind: Kind = "display",
    tolerance: float | None = None,
    reading_error: float | None = None,
    left: tuple[float, float] | None = None,
    right: tuple[float, float] | None = None,
    summed: bool = False,
) -> CalibrationCheck:
    """Return what three readings say of zero and gain, and what to set.

    Args:
        scenario: the machine.
        mass: of the known weight [kg].
        empty: reading with nothing on the roller [N or mV].
        loaded: with the weight on a rope along the web's path [N or mV].
        after: with nothing on the roller again [N or mV].
        kind: of reading: "display" of tension [N], or bare "signal" of the cells [mV].
        tolerance: allowed error at the end of the scale [%], above 0; if left out 0.5 for a
            display and 5 for a signal, which is compared with data sheet and drawing.
        reading_error: by which each reading may be off [N or mV]; as
            `usual_reading_error` says if left out.
        left: readings of the left cell alone, with nothing and with the weight, shape (2,) [any].
        right: the same of the right cell, shape (2,) [any].
        summed: whether an amplifier adds the signals of the cells up; else they are in parallel.

    Raises:
        ValueError: an argument is out of range or no number, or only one side is given.
    """
    readings = (empty, loaded, after, *(left or ()), *(right or ()))
    _check_arguments(mass, kind, tolerance, reading_error, readings)
    plan = calibration_plan(scenario, display=kind == "display", mass=mass)
    allowed = ALLOWED[kind] if tolerance is None else tolerance
    gain, zero_expected, step, zero_allowed = _ideal(scenario, kind, summed, allowed)
    error = reading_error
    if error is None:
        error = _usual_error(scenario.load_cell, gain, step)

    zero, residual, scale = 0.5 * (empty + after), after - empty, gain * plan.scale
    ratio = (loaded - zero) / (gain * plan.force)
    uncertain = (2.0 * error + 0.5 * abs(residual)) / (gain * plan.force)
    zero_error = zero - zero_expected
    zero_verdict = _verdict(zero_error, error + 0.5 * abs(residual), zero_allowed)
    gain_verdict = _verdict(100.0 * (ratio - 1.0), 100.0 * uncertain, allowed)
    at_end = kind == "display" and loaded >= plan.scale
    if at_end:
        gain_verdict = "cannot tell"
    # A zero must return as well in millivolts as on a display.
    returns = 0.01 * (tolerance or ALLOWED["display"]) * scale
    return_verdict = _verdict(residual, 2.0 * error, returns)
    off, sides, agree = math.nan, "", None
    if left is not None and right is not None:
        off, sides, agree = judge_sides(left[1] - left[0], right[1] - right[0])
    fitting: list[str] = []
    others: list[str] = []
    if gain_verdict != "right" and abs(ratio - 1.0) > uncertain and not at_end:
        fitting, others = gain_reasons(
            scenario.load_cell, ratio, uncertain=uncertain, display=kind == "display"
        )
    result = CalibrationCheck(
        plan=plan,
        cells=scenario.load_cell.cells,
        kind=kind,
        tolerance=allowed,
        empty=empty,
        loaded=loaded,
        after=after,
        zero_expected=zero_expected,
        ideal_gain=gain,
        gain=ratio * gain,
        gain_ratio=ratio,
        gain_error=100.0 * (ratio - 1.0),
        gain_uncertainty=100.0 * uncertain,
        zero_error=zero_error,
        zero_allowed=zero_allowed,
        zero_shift=-zero,
        # No span mends cells that are missing or turned, nor a reading that is not all there.
        span_factor=1.0 / ratio if ratio - uncertain > 0.1 and not at_end else math.nan,
        at_end=at_end,
        end_error=abs(zero_error) + error + abs(residual) + (abs(ratio - 1.0) + uncertain) * scale,
        most_at_one_end=most_pull(scenario, rope_off_middle=0.5),
        residual=residual,
        residual_tension=residual / gain,
        residual_share=100.0 * residual / scale,
        zero_verdict=zero_verdict,
        gain_verdict=gain_verdict,
        return_verdict=return_verdict,
        rope_off_middle=off,
        sides=sides,
        sides_agree=agree,
        reasons=(*fitting, *others),
        fitting=tuple(fitting),
        headline="",
        next_steps=(),
        warnings=(),
    )
    return replace(
        result,
        headline=headline(result),
        next_steps=tuple(next_steps(result)),
        warnings=tuple(check_warnings(result)),
    )


def usual_reading_error(scenario: Scenario, kind: Kind, *, summed: bool = False) -> float:
    """Return by how much a reading is usually off [N or mV]: half of its smallest step, or what is
    left of the noise in a mean of some 25 readings.

    Args:
        scenario: the machine.
        kind: of reading.
        summed: whether an amplifier adds the signals of the cells up; else they are in parallel.
    """
    gain, _, step, _ = _ideal(scenario, kind, summed, ALLOWED[kind])
    return _usual_error(scenario.load_cell, gain, step)


def _usual_error(cell: LoadCell, gain: float, step: float) -> float:
    return max(0.5 * step, OF_NOISE * cell.noise * gain)


def _check_arguments(
    mass: float, kind: str, tolerance: float | None, reading_error: float | None,
    readings: tuple[float, ...],
) -> None:  # fmt: skip
    faults = [f"reading {x:.4g} must be within 1e9 of 0" for x in readings if not abs(x) <= 1e9]
    if not 0.0 < mass < 1e6:
        faults.append(f"mass {mass:.4g} must be above 0 kg and below 1000 t")
    if kind not in ALLOWED:
        faults.append(f"kind {kind!r} must be one of {', '.join(ALLOWED)}")
    if tolerance is not None and not 0.0 < tolerance <= 50.0:
        faults.append(f"tolerance {tolerance:.4g} must be above 0 and at most 50 %")
    if len(readings) == 5:
        faults.append("left and right must be given both or not at all")
    if reading_error is not None and not 0.0 <= reading_error < math.inf:
        faults.append(f"reading_error {reading_error:.4g} must be 0 or more")
    if faults:
        raise ValueError("; ".join(faults))


def _ideal(
    scenario: Scenario, kind: Kind, summed: bool, allowed: float
) -> tuple[float, float, float, float]:
    """Ideal gain and zero, smallest step of a reading, and how far a zero may be off."""
    cell, sheet = scenario.load_cell, data_sheet(scenario)
    step = reading_step(scenario)
    if kind == "display":
        return 1.0, 0.0, step, 0.01 * allowed * scenario.controller.tension_range
    many = cell.cells if summed else 1
    gain = many * cell_signal(sheet, load_per_tension(cell) / cell.cells, cell.rated_load)
    bare = many * cell_signal(sheet, forces_on(cell, 0.0).load / cell.cells, cell.rated_load)
    rated = many * cell_signal(sheet, cell.rated_load, cell.rated_load)
    return gain, bare, gain * step, ZERO_BALANCE * rated


def _verdict(error: float, uncertain: float, allowed: float) -> Verdict:
    if abs(error) + uncertain <= allowed:
        return "right"
    return "wrong" if abs(error) - uncertain > allowed else "cannot tell"
