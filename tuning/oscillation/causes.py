"""What may shake the tension: the causes by name, what to check next, what usually helps.

All of it is common practice of the trade, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

ROLL = "roll out of round"
ROLLER = "idler or nip out of round"
LOOP = "loop too tight"
RINGING = "roll ringing on the web"
STICKING = "torque device sticking"
MOVES = "line speed or setpoint moves"
PICKUP = "sampling alias or electrical pickup"
NONE = "none"
CANNOT_TELL = "cannot tell"


@dataclass(frozen=True)
class Cause:
    """One cause.

    Attributes:
        name: of it.
        meaning: what happens, in a sentence.
        next_check: what to check first, at the machine or in another record.
        remedy: what usually helps once it is confirmed.
    """

    name: str
    meaning: str
    next_check: str
    remedy: str


_ALL = (
    Cause(
        ROLL,
        "The roll's radius changes over a turn, so that it pulls and gives once a turn.",
        "Put a mark on the roll and count: does the tension swing once (or a whole number of "
        "times) for each turn of the mark? With the line stopped and locked out, turn the roll by "
        "hand and measure its runout on core, chucks and web with a dial gauge.",
        "True or replace core and chucks, store rolls so that they stay round, seat the core "
        "concentric; until then run at another speed at the diameters where a turn is near the "
        "roll's own swing on the web. No gains remove it: a loop fast enough to fight it would "
        "ring.",
    ),
    Cause(
        ROLLER,
        "A roller or the nip is out of round, bent or sits on a worn bearing, and pulls the web "
        "once a turn.",
        "With the line stopped and locked out, measure the runout of that roller with a dial "
        "gauge and turn it by hand for a rough bearing. Running, compare its turn (line speed over "
        "pi times its diameter) with the measured frequency.",
        "Regrind or replace the roller, renew its bearings, balance it.",
    ),
    Cause(
        LOOP,
        "The controller's gain is too high for the machine at this diameter and speed: the loop "
        "keeps itself swinging.",
        "Switch the controller to manual at the same output: the swing must die away within a few "
        "periods. If it does, halve the gain and switch back.",
        "Lower the gains to those that hold from full roll to core, or let the gain follow the "
        "diameter.",
    ),
    Cause(
        RINGING,
        "The roll swings on the web like a weight on a spring: each knock rings on for a while, "
        "and the loop neither feeds nor damps it much.",
        "In manual at the same output give the output one small step, or wait for a knock: does "
        "the tension ring at the same frequency and die away? Then look for what knocks: splices, "
        "a bouncing idler, a jerking brake, wound-in hard spots.",
        "Take away what knocks; run off the lowest speeds, where the web damps least; a shorter "
        "span or less inertia moves the frequency. Gains can't damp it, but keep them from feeding "
        "it.",
    ),
    Cause(
        STICKING,
        "Brake, valve or regulator sticks: the output must move some way before the torque does, "
        "and then it jumps.",
        "In manual move the output by small steps up and down and watch the tension (or the "
        "pressure at the brake): does it stay still for some steps and then jump? Note the width.",
        "Service or replace regulator, valve or brake, check air quality and linkage. Gains only "
        "change how often it jumps; a small deadband on the error stops the hunting at the price "
        "of a lasting error.",
    ),
    Cause(
        MOVES,
        "Line speed or setpoint itself swings, and the tension follows.",
        "Look at the recorded speed and setpoint themselves: which of them swings first? Hold the "
        "setpoint still; ask for the tuning of the drive that sets the line speed.",
        "Tune the speed drive or what commands it; filter or fix the setpoint. Inertia "
        "compensation takes off what ramps do.",
    ),
    Cause(
        PICKUP,
        "The swing is in the signal and not in the web: mains hum or a fast vibration, sampled too "
        "slowly to be seen as what it is.",
        "Record again at another sample rate: a folded frequency moves, a true one stays. Measure "
        "the load cell's signal with an oscilloscope, with the line stopped as well.",
        "Filter the signal before it is sampled, below half the sample rate; route the cell's "
        "cable away from power, earth its screen at one end; sample faster.",
    ),
    Cause(
        NONE,
        "The tension does not oscillate beyond its noise.",
        "If the tension does swing on the machine, record at least ten swings, ten samples or more "
        "in each.",
        "Nothing to mend here.",
    ),
    Cause(
        CANNOT_TELL,
        "Something shakes the tension that is none of the causes above, or this record can't tell "
        "them apart.",
        "",
        "First find out which it is: see the next recording.",
    ),
)
CAUSES: dict[str, Cause] = {cause.name: cause for cause in _ALL}
