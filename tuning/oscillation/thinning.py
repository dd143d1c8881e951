"""Fewer samples for a long record, where nothing fast would be lost."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tuning.oscillation.record import Array, Record
from tuning.oscillation.spectrum import peaks

# More samples than this are averaged down; so many are explained in about a second.
MOST_SAMPLES = 200_000
# Each oscillation keeps so many samples a swing.
LEAST_A_SWING = 5.0


def thinned(record: Record) -> Record:
    """Return a record with at most `MOST_SAMPLES`, each the mean of some.

    A record with an oscillation too fast for that is returned as it is. What the samples
    folded down stays where it is: `logged_every` remembers their interval.

    Args:
        record: the recording.
    """
    block = -(-record.tension.size // MOST_SAMPLES)
    if block == 1:
        return record
    interval = block * record.interval
    for peak in peaks(record.tension, record.interval, most=4):
        if peak.significant and peak.frequency * interval * LEAST_A_SWING > 1.0:
            return record
    count = record.tension.size // block

    def mean(values: Array) -> Array:
        return np.asarray(values[: count * block].reshape(count, block).mean(axis=1))

    return replace(
        record,
        interval=interval,
        tension=mean(record.tension),
        output=mean(record.output),
        setpoint=mean(record.setpoint),
        line_speed=mean(record.line_speed),
        diameter=mean(record.diameter),
        automatic=mean(record.automatic).round(),
        warnings=(
            *record.warnings,
            f"{record.tension.size:,} samples".replace(",", " ")
            + f" are looked at in means of {block}",
        ),
    )
