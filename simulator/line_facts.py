"""What follows from a machine's description, put together for a reader.

K = A E/L       stiffness of a span         L/v      its time constant
v/(pi D)        turns of the roll
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from simulator.linearise import linearise
from simulator.machine import named_diameters, roll_inertia, web_on_roll, web_stiffness
from simulator.scenario import Scenario


@dataclass(frozen=True)
class RollFacts:
    """The roll at one diameter.

    Attributes:
        name: of the diameter: full roll, half, core, or pull roll.
        diameter: of the roll [m].
        inertia: of the roll and all that turns with it [kg m^2].
        web_length: on the roll [m].
        turns: of the roll in a second at line speed [1/s].
        turns_crawl: the same at crawl speed [1/s].
        swing: natural frequency of the roll on its web at line speed [Hz].
        damping: damping ratio of that swing [-].
        damping_crawl: the same at crawl speed [-].
    """

    name: str
    diameter: float
    inertia: float
    web_length: float
    turns: float
    turns_crawl: float
    swing: float
    damping: float
    damping_crawl: float


@dataclass(frozen=True)
class SpanFacts:
    """One span, counted from the roll.

    Attributes:
        length: free length [m].
        stiffness: tension for each metre of stretch [N/m].
        stretch: at the running tension [m].
        time_constant: at line speed [s].
        time_constant_crawl: at crawl speed [s].
    """

    length: float
    stiffness: float
    stretch: float
    time_constant: float
    time_constant_crawl: float


@dataclass(frozen=True)
class LineFacts:
    """What follows from a machine's description.

    Attributes:
        rolls: from full roll to core; one entry for a pull roll.
        spans: from the roll to the nip.
    """

    rolls: tuple[RollFacts, ...]
    spans: tuple[SpanFacts, ...]


def line_facts(scenario: Scenario) -> LineFacts:
    """Return what follows from a machine's description.

    Args:
        scenario: the machine.
    """
    run = scenario.run
    stiffness = web_stiffness(scenario)
    rolls = []
    for name, diameter in named_diameters(scenario).items():
        fast = linearise(scenario, diameter=diameter)
        slow = linearise(scenario, diameter=diameter, line_speed=run.crawl_speed)
        rolls.append(
            RollFacts(
                name=name,
                diameter=diameter,
                inertia=roll_inertia(scenario, diameter),
                web_length=web_on_roll(scenario, diameter),
                turns=run.line_speed / (math.pi * diameter),
                turns_crawl=run.crawl_speed / (math.pi * diameter),
                swing=fast.natural_frequency / (2.0 * math.pi),
                damping=fast.damping_ratio,
                damping_crawl=slow.damping_ratio,
            )
        )
    spans = tuple(
        SpanFacts(
            length=span.length,
            stiffness=stiffness / span.length,
            stretch=run.tension * span.length / stiffness,
            time_constant=span.length / run.line_speed,
            time_constant_crawl=span.length / run.crawl_speed,
        )
        for span in scenario.span
    )
    return LineFacts(tuple(rolls), spans)
