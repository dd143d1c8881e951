"""What three readings of a calibration say, in words: a headline, what to do, and what to know."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

from simulator.units import sensible

if TYPE_CHECKING:
    from simulator.calibration_check import CalibrationCheck

# A span further off is to be explained before it is set [-]; common practice, no source.
MOST_SPAN = 0.25
_AGAIN = "then read all three again"


def headline(check: CalibrationCheck) -> str:
    """Return in one sentence how zero and gain stand.

    Args:
        check: of three readings.
    """
    if check.passed and check.kind == "signal":
        return (
            "The cells answer as data sheet and drawing say: set the amplifier"
            f"{_if_all_answer(check)}."
        )
    if check.passed:
        end = check.end_error / check.ideal_gain
        return (
            f"Zero and gain are right and the zero returns, each within {check.tolerance:.3g} % of "
            f"the scale: nothing to set{_if_all_answer(check)}. The end of the scale is at most "
            f"{end:.3g} N off."
        )
    if check.sides_agree is False:
        return f"Not yet: {check.sides}."
    if math.isnan(check.span_factor) and check.fitting and check.return_verdict == "right":
        return f"Mounting or wiring is wrong: {check.fitting[0]}."
    high, off = "high" if check.gain_error > 0.0 else "low", check.zero_error / check.ideal_gain
    told = (
        (check.return_verdict, "return", f"{check.residual_tension:.3g} N stay when it is bare"),
        (check.zero_verdict, "zero", f"the zero is off by {off:.3g} N"),
        (check.gain_verdict, "gain", f"the gain is {abs(check.gain_error):.3g} % too {high}"),
    )
    parts = [text for verdict, _, text in told if verdict == "wrong"]
    if unknown := [name for verdict, name, _ in told if verdict == "cannot tell"]:
        parts.append(f"these readings cannot decide on {' and '.join(unknown)}")
    text = "; ".join(parts)
    return f"{text[0].upper()}{text[1:]}."


def _if_all_answer(check: CalibrationCheck) -> str:
    unseen = check.cells > 1 and check.sides_agree is None
    return ", once a weight near each end shows that every cell answers" if unseen else ""


def next_steps(check: CalibrationCheck) -> Iterator[str]:
    """Yield what to do, in order; nothing is set from readings that are not to be trusted.

    Args:
        check: of three readings.
    """
    if check.sides_agree is False:
        yield "Bring the rope to the middle and mend a cell that does not answer; then read again."
        return
    if check.return_verdict == "wrong":
        yield (
            "Find out why the zero does not return before you set anything: turn the roller a few "
            f"turns by hand, go through the causes, {_AGAIN}."
        )
        return
    if check.at_end:
        yield (
            "Take a smaller weight, or turn the span down until the display is off the end of its "
            f"scale; {_AGAIN}."
        )
        return
    if math.isnan(check.span_factor):
        why = (*check.fitting, "the readings do not tell the gain")[0]
        yield f"Set no span: {why}. See to that, {_AGAIN}."
        return
    far_off = check.gain_verdict == "wrong" and abs(check.span_factor - 1.0) > MOST_SPAN
    if far_off:
        fits = f": {check.fitting[0]}" if check.fitting else ", by the causes below"
        yield f"Explain the gain before you set anything{fits}. See to that, {_AGAIN}."
        if check.cells > 1 and check.sides_agree is None:
            yield from _near_each_end(check)
        if check.kind == "signal":
            return
        yield (
            "Only where the amplifier was never set, and every cell answers, go on with the next "
            "steps."
        )
    if check.gain_verdict == "wrong" and check.fitting and not far_off:
        yield f"Rule out first what would make just this gain: {check.fitting[0]}."
    yield from _settings(check)
    if check.kind == "signal" or not check.passed:
        yield "Take the weight off and look at the zero again; then repeat all three readings."
    if check.cells > 1 and check.sides_agree is None and not far_off:
        yield from _near_each_end(check)


def _settings(check: CalibrationCheck) -> Iterator[str]:
    shift, weight = check.zero_shift, sensible(check.plan.force, 4)
    if check.kind == "signal":
        yield f"With nothing on the roller, set the amplifier so that {-shift:.4g} mV shows 0 N."
        yield f"With the weight on, set it so that {check.loaded:.4g} mV shows {weight} N."
    elif "wrong" in (check.zero_verdict, check.gain_verdict):
        if shift:
            way = "take {:.3g} N off" if shift < 0.0 else "add {:.3g} N to"
            yield f"With nothing on the roller, {way.format(abs(shift))} the zero."
        if check.gain_verdict == "wrong":
            yield (
                f"With the weight on, multiply the span by {check.span_factor:.4g}: the display "
                f"then shows {weight} N."
            )


def _near_each_end(check: CalibrationCheck) -> Iterator[str]:
    # Near an end one cell takes nearly all of the rope's pull.
    most, what = check.most_at_one_end, "the weight"
    if most <= 0.0:
        return
    if check.plan.force > most:
        what = f"a weight that pulls with {sensible(most)} N at most"
    yield (
        f"Hang {what} near each end in turn: equal readings show that every cell answers. In the "
        "middle, a cell in parallel that is unplugged does not show."
    )


def check_warnings(check: CalibrationCheck) -> Iterator[str]:
    """Yield what a reader should know.

    Args:
        check: of three readings.
    """
    if check.at_end:
        yield "the display stands at the end of its scale: it may not show all of the weight"
    elif check.gain_verdict == "cannot tell":
        yield (
            f"the gain is known to {check.gain_uncertainty:.2g} % only, where "
            f"{check.tolerance:.3g} % are allowed: hang a larger weight, read steadier means, or "
            "find out why the zero moves"
        )
