"""What a tolerance study found, in sentences for people in a plant."""

from __future__ import annotations

import math

import numpy as np

from simulator.units import METRIC, UnitSystem
from tuning.margins import RINGS_ABOVE
from tuning.tolerance_results import (
    HIGH_LEVEL,
    LOW_LEVEL,
    MIDDLE_LEVEL,
    Share,
    ToleranceStudy,
    quantile,
    share_of,
)
from tuning.tolerances import DEFAULT_TOLERANCES, UNCERTAIN

# No more tolerances than this are named for what they do to Ms.
NAMED = 3
# A smaller share of the spread is not told from nothing [-].
LEAST_SHARE = 0.01


def headline(study: ToleranceStudy) -> str:
    """Return the answer in one sentence.

    Args:
        study: to tell.
    """
    if not study.tolerances:
        nominal = float(study.nominal_Ms.max())
        verdict = "unstable" if math.isinf(nominal) else f"Ms {nominal:.2f} at its worst"
        return f"Nothing about this machine was varied; it is {verdict}"
    limit = f"stay{'' if study.within.count else 's'} within Ms {study.ms_limit:g}"
    start = f"{_machines(study.within)} within these tolerances {limit}"
    if study.within.count == study.samples:
        start += f" (at least {100.0 * study.within.low:.3g} % of all such machines)"
    unstable = share_of(~np.isfinite(study.worst_Ms))
    middle = f"none of {study.samples} is unstable"
    if unstable.count:
        middle = f"{unstable.words} {'is' if unstable.count == 1 else 'are'} unstable"
    start = start[0].upper() + start[1:]
    first = study.matters_most
    if first is None:
        return f"{start}; {middle}; no tolerance stands out, more machines might tell"
    return f"{start}; {middle}; {first.words} matters most: {UNCERTAIN[first.name].advice}"


def sentences(study: ToleranceStudy, units: UnitSystem = METRIC) -> tuple[str, ...]:
    """Return what a tolerance study found, the headline first.

    Args:
        study: to tell.
        units: that the reader wants.
    """
    if not study.tolerances:
        return (f"{headline(study)}.",)
    found = [
        f"{headline(study)}.",
        _ms(study),
        _where(study, units),
        _overshoot(study),
        _output(study),
        _reach(study),
        _what_matters(study),
    ]
    if set(study.tolerances) <= set(DEFAULT_TOLERANCES):
        found.append(
            "The tolerances are common practice, without a source: put in what you know about your "
            "machine."
        )
    return tuple(text for text in found if text)


def _machines(share: Share) -> str:
    """Such as "97 % (95 to 98) of machines"."""
    if share.count == share.of:
        return f"all {share.of} machines"
    if share.count == 0:
        return f"none of {share.of} machines"
    return f"{share.words} of machines"


def _ms(study: ToleranceStudy) -> str:
    nominal = float(study.nominal_Ms.max())
    start = "is unstable" if math.isinf(nominal) else f"has a worst Ms of {nominal:.2f}"
    middle, high = (quantile(study.worst_Ms, level) for level in (MIDDLE_LEVEL, HIGH_LEVEL))
    if math.isinf(middle):
        tail = "half of the others are unstable or more"
    elif math.isinf(high):
        tail = f"half of the others stay below {middle:.2f}, more than 5 % of them are unstable"
    else:
        tail = f"half of the others stay below {middle:.2f}, 95 % of them below {high:.2f}"
    rings = share_of(study.worst_Ms > RINGS_ABOVE)
    ringing = f"; {rings.words} ring or worse (Ms above {RINGS_ABOVE:g})" if rings.count else ""
    return f"The machine as it is thought to be {start}; {tail}{ringing}."


def _where(study: ToleranceStudy, units: UnitSystem) -> str:
    if len(study.places) == 1:
        return ""
    counts = np.bincount(study.worst_place, minlength=len(study.places))
    most = int(counts.argmax())
    place = study.places[most]
    return (
        f"The worst point is {place.words} ({units.text(place.diameter, 'diameter')}, "
        f"{units.text(place.line_speed, 'speed')}) in "
        f"{_machines(share_of(study.worst_place == most))}."
    )


def _overshoot(study: ToleranceStudy) -> str:
    middle, high = (quantile(study.worst_overshoot, level) for level in (MIDDLE_LEVEL, HIGH_LEVEL))
    start = (
        "After a step of the setpoint, at the worst point of the roll, the tension overshoots by"
    )
    if math.isinf(middle):
        return ""
    if math.isinf(high):
        return f"{start} {middle:.0f} % of the step or less in half of the machines."
    if high < 1.0:
        return f"{start} less than 1 % of the step in 95 % of the machines."
    return (
        f"{start} {middle:.0f} % of the step or less in half of the machines, by {high:.0f} % or "
        "less in 95 % of them."
    )


def _output(study: ToleranceStudy) -> str:
    parts = []
    at_line_speed = [(i, p) for i, p in enumerate(study.places) if p.at == "line speed"]
    for i, place in at_line_speed:
        if place.name != "half":
            low, high = (quantile(study.output[:, i], q) for q in (LOW_LEVEL, HIGH_LEVEL))
            where = {"core": "at the core", "full roll": "at full roll"}
            least = f"below {study.output_low:g}" if low < study.output_low else f"{low:.1f}"
            most = f"above {study.output_high:g}" if high > study.output_high else f"{high:.1f}"
            parts.append(f"{least} to {most} % {where.get(place.name, 'for the pull roll')}")
    return f"The manual output at line speed is {' and '.join(parts)} in nine machines of ten."


def _reach(study: ToleranceStudy) -> str:
    missed = share_of(np.asarray(~study.reachable.all(axis=1)))
    if not missed.count:
        return ""
    return (
        f"In {_machines(missed)} there is a point of the roll where no output within its limits "
        "holds the running tension."
    )


def _what_matters(study: ToleranceStudy) -> str:
    sure = [one for one in study.influences if one.sure and one.share > LEAST_SHARE][:NAMED]
    if not sure:
        return ""
    named = ", ".join(f"{one.words} {100.0 * one.share:.0f} %" for one in sure)
    return f"What each makes alone of the spread of Ms: {named}."
