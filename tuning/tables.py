"""Results as rows of tables and short sentences, in the reader's units."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence

from simulator.units import UnitSystem, sensible
from tuning.design import RollDesign
from tuning.detuning import Detuned
from tuning.fit_machine_words import value_in_words
from tuning.gains import Gains, in_all_forms
from tuning.identify import StepFit
from tuning.judged_rules import JudgedRule
from tuning.machine_fit import MachineFit
from tuning.process_model import ProcessModel
from tuning.tolerance_results import Share

NOTHING = "–"
Row = dict[str, str]


def number(value: float | None, digits: int = 3) -> str:
    """Return a number for a table; a dash where there is none.

    Args:
        value: to show; None, nan or inf where there is nothing to show [any].
        digits: significant digits [-].
    """
    if value is None or not math.isfinite(value):
        return NOTHING
    return sensible(value, digits)


def gains_in_words(gains: Gains) -> str:
    """Return gains as one line.

    Args:
        gains: ISA standard form in % of range.
    """
    if gains.is_integral_only:
        return f"integral action alone, Ki = {sensible(gains.Ki)} % per s for each %"
    Ti = f"Ti {sensible(gains.Ti)} s" if math.isfinite(gains.Ti) else "no integral action"
    Td = f", Td {sensible(gains.Td)} s" if gains.Td else ""
    return f"Kc {sensible(gains.Kc)} %/%, {Ti}{Td}"


def model_in_words(model: ProcessModel) -> str:
    """Return a process model as one line.

    Args:
        model: fitted to a step test.
    """
    dead = f"dead time {number(model.dead_time)} s"
    if model.kind == "integrating":
        return f"integrating: the tension rises {number(model.gain)} %/s for each %, {dead}"
    parts = [f"gain {number(model.gain)} %/%", f"time constant {number(model.time_constant)} s"]
    if model.damping is not None:
        parts.append(f"damping {number(model.damping, 2)}")
    return f"{model.kind}: {', '.join([*parts, dead])}"


def fit_rows(fit: StepFit) -> list[Row]:
    """Return the models of a step test with their standard errors, the chosen one first.

    Args:
        fit: of the step test.
    """

    def with_error(value: float | None, error: float) -> str:
        if value is None:
            return NOTHING
        return f"{number(value)} ± {number(error, 2)}" if math.isfinite(error) else number(value)

    return [
        {
            "model": c.model.kind + (" (chosen)" if i == 0 else ""),
            "gain": with_error(c.model.gain, c.errors.gain)
            + (" %/(% s)" if c.model.kind == "integrating" else " %/%"),
            "time constant [s]": with_error(c.model.time_constant, c.errors.time_constant)
            if c.model.kind != "integrating"
            else NOTHING,
            "damping": with_error(c.model.damping, c.errors.damping),
            "dead time [s]": with_error(c.model.dead_time, c.errors.dead_time),
            "fit [%]": f"{c.fit_percent:.0f}",
        }
        for i, c in enumerate(fit.candidates)
    ]


def severity(judged: JudgedRule) -> float:
    """Return what rules are sorted by: the worst Ms over the roll, then unstable ones.

    Args:
        judged: a rule with its margins.
    """
    if judged.here is None or judged.worst is None:
        return math.inf
    if not judged.here.stable:
        return 2e9
    return judged.worst.Ms if judged.worst.stable else 1e9 + judged.here.Ms


def rule_rows(rules: tuple[JudgedRule, ...], units: UnitSystem) -> list[Row]:
    """Return every rule with its gains and margins.

    Args:
        rules: judged on the machine.
        units: that the reader wants.
    """
    rows = []
    for judged in rules:
        gains, here, worst = judged.suggestion.gains, judged.here, judged.worst
        holds = here if here is not None and here.stable else None
        rows.append(
            {
                "rule": judged.suggestion.rule.name,
                "over the roll": judged.verdict(units),
                "Kc [%/%]": number(gains.Kc if gains else None),
                "Ti [s]": number(gains.Ti if gains else None),
                "Td [s]": number(gains.Td if gains and gains.Td else None),
                "Ms here": number(holds.Ms if holds else None),
                "gain margin": number(holds.gain_margin if holds else None),
                "phase margin [°]": number(holds.phase_margin if holds else None),
                "worst Ms": number(worst.Ms if worst and worst.stable else None),
                "note": "; ".join(judged.suggestion.warnings),
                "source": judged.suggestion.rule.source,
            }
        )
    return rows


def form_rows(gains: Gains, *, tension_range: float) -> list[Row]:
    """Return the gains in all forms; a dash where a form has no such number.

    Args:
        gains: ISA standard form in % of range.
        tension_range: 100 % of the measured scale [N].
    """
    return [
        {
            "form": row.form,
            "symbol": row.symbol,
            "value": number(row.value, 4),
            "unit": row.unit,
            "how": row.formula,
        }
        for row in in_all_forms(gains, tension_range)
    ]


def detuned_rows(detuned: Sequence[Detuned], shares: Sequence[Share] = ()) -> list[Row]:
    """Return what each limit on Ms costs and, where it was judged, what it bears.

    Args:
        detuned: the best gains for each limit.
        shares: of machines within tolerances that do not ring, for each limit.
    """
    rows = []
    for i, one in enumerate(detuned):
        row = {
            "limit on Ms": f"{one.ms_limit:g}",
            "Kc [%/%]": number(one.gains.Kc),
            "Ti [s]": number(one.gains.Ti),
            "Td [s]": number(one.gains.Td or None),
            "error after a load": f"{number(one.error_ratio, 2)} ×",
        }
        if shares:
            row["machines within tolerances that do not ring"] = shares[i].words
        rows.append(row)
    return rows


def learned_rows(fit: MachineFit, units: UnitSystem) -> list[Row]:
    """Return what step tests say about each number of a machine.

    Args:
        fit: of the tests.
        units: that the reader wants.
    """
    rows = []
    for one in fit.parameters:
        known = math.isfinite(one.low)
        said = "not seen in these tests" if not one.seen else ""
        rows.append(
            {
                "number": one.words,
                "as described": value_in_words(one.before, one.unit, units),
                "as learned": value_in_words(one.after, one.unit, units) if one.seen else NOTHING,
                "95 % lie between": f"{value_in_words(one.low, one.unit, units)} … "
                f"{value_in_words(one.high, one.unit, units)}"
                if known
                else NOTHING,
                "factor": number(one.factor) if one.seen else NOTHING,
                "note": "at the end of its range" if one.at_limit else said,
            }
        )
    return rows


def kind_rows(design: RollDesign) -> list[Row]:
    """Return what integral, PI and PID control can do on this roll, side by side.

    Args:
        design: for the whole roll.
    """
    return [
        {
            "control": one.kind,
            "verdict": one.verdict + (", held back by noise" if one.limited_by_noise else ""),
            "Kc [%/%]": number(None if one.kind == "I" else one.gains.Kc),
            "Ti [s]": number(None if one.kind == "I" else one.gains.Ti),
            "Td [s]": number(one.gains.Td or None),
            "Kc/Ti [1/s]": number(one.gains.Ki),
            "noise in output [% rms]": number(one.noise_output, 2),
        }
        for one in design.kinds
    ]


def schedule_rows(design: RollDesign, units: UnitSystem) -> list[Row]:
    """Return gains that follow the diameter beside the one set for the whole roll.

    Args:
        design: for the whole roll.
        units: that the reader wants.
    """
    rows = []
    for entry in design.schedule.entries:
        row = {
            f"diameter [{units.label('diameter')}]": sensible(
                units.show(entry.diameter, "diameter"), 3
            ),
            "Kc [%/%]": number(entry.gains.Kc),
            "Ti [s]": number(entry.gains.Ti),
        }
        if design.kind == "PID":
            row["Td [s]"] = number(entry.gains.Td)
        row["Kc/Ti [1/s]"] = number(entry.gains.Ki)
        row["Kc/Ti against one set"] = f"{entry.gains.Ki / design.gains.Ki:.1f} ×"
        rows.append(row)
    return rows


def schedule_in_words(design: RollDesign, units: UnitSystem) -> str:
    """Return what a gain schedule buys, in a sentence.

    Args:
        design: for the whole roll.
        units: that the reader wants.
    """
    best = design.schedule.best
    if best is None:
        return "A roll of one diameter needs no gain schedule."
    place = units.text(best.diameter, "diameter")
    if not design.schedule.worth_it:
        return (
            f"A gain schedule is not worth its trouble here: at its best, {place}, a load would "
            f"still leave {100.0 / best.ratio:.0f} % of the error that one set of gains leaves."
        )
    return (
        f"With a gain schedule of {len(design.schedule.entries)} points a load would leave only "
        f"{100.0 / best.ratio:.0f} % of the error that one set of gains leaves, at its best, "
        f"{place}; between its points, on straight lines, Ms is {design.schedule.worst_Ms:.2f} at "
        "most."
    )


def schedule_csv(design: RollDesign) -> str:
    """Return the schedule as CSV, in SI units named in the header.

    Args:
        design: for the whole roll.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["diameter_m", "Kc", "Ti_s", "Td_s"])
    for entry in design.schedule.entries:
        g = entry.gains
        writer.writerow([f"{value:.6g}" for value in (entry.diameter, g.Kc, g.Ti, g.Td)])
    return out.getvalue()
