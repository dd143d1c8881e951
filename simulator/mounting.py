"""How load cells are mounted, in the order of the work: what to do, why, and how to see it is done.

Common practice of the trade, no source. The maker's manual, the machine's own, local codes and
licensed practice go before every line of it.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class MountingStep:
    """One step of the work.

    Attributes:
        title: of the step.
        what_to_do: in the imperative.
        why: it matters for the reading or for people.
        done_when: what one sees or measures once it is done.
    """

    title: str
    what_to_do: str
    why: str
    done_when: str


MOUNTING_STEPS = (
    MountingStep(
        "Make it safe",
        "Lock the machine out at every source of energy and try to start it; take the web off the "
        "roller; hold the roller with slings or stands rated for it before a bolt is loosened.",
        "A roller that drops an inch is the end of a load cell, and of fingers.",
        "The try start does nothing, and the roller hangs or stands without its bearings.",
    ),
    MountingStep(
        "Clean and flat surfaces",
        "Take paint, rust and burrs off the frame's faces and wipe the cells' feet clean, their "
        "finish left on; lay a straightedge and feeler gauges over them; shim or machine what is "
        "not flat.",
        "Bolts pull a cell down onto a crooked face and bend it: that reads as load and changes "
        "with heat.",
        "No gauge as thin as the maker allows slips under the straightedge, in any direction.",
    ),
    MountingStep(
        "Holes across from each other",
        "Measure the bolt holes of both sides from one line that is square to the machine's centre "
        "line, in height and along the machine.",
        "A roller on holes that do not face each other is out of parallel from the first day, and "
        "its shaft forces the cells.",
        "Both diagonals are equal, and level and tape show both sides at the same height.",
    ),
    MountingStep(
        "The right way round",
        "Turn each cell until its sensing direction lies along the resultant of the wrap, with the "
        "arrow or mark the same way on both sides, and fasten the mark where it can be seen.",
        "Only the part of the pull along the axis is measured; two cells that face opposite ways "
        "cancel each other.",
        "An angle gauge on each cell shows the angle of the drawing, and both marks agree.",
    ),
    MountingStep(
        "Centred",
        "Set the cells at the same distance from the middle of the web, with the bearing over the "
        "point of each cell that the maker names.",
        "A web in the middle then loads both alike, and no load beside its place bends a cell.",
        "Distances from the centre line are equal on both sides.",
    ),
    MountingStep(
        "Bolts in passes",
        "Put all bolts in by hand, then tighten them crosswise in three passes, about a third, two "
        "thirds and all of the maker's torque, with a torque wrench.",
        "Bolts that go to full torque one after the other clamp strain into the cell.",
        "A last round at full torque turns no bolt, and the bare cell's signal has stayed near 0.",
    ),
    MountingStep(
        "No bolt too long",
        "Compare each bolt's length with the depth of its thread, washers included, before it goes "
        "in.",
        "A bolt that touches the ground of its hole, or the cell's beam, holds the cell instead of "
        "the clamped face: it is stiff one way and slips the other.",
        "Every bolt stops at its head, and a feeler gauge goes all the way through the cell's gap.",
    ),
    MountingStep(
        "Nothing under strain",
        "Lower the roller into its bearings with their caps loose; let it find its place, then "
        "close the caps. Never pull a part into place with a bolt.",
        "Strain that is built in is read as tension and lets go later, a bit with each knock.",
        "With caps loose and closed the signal is the same.",
    ),
    MountingStep(
        "One bearing free",
        "Hold one bearing against moving along the shaft and leave the other free to float by more "
        "than the shaft grows from cold to warm.",
        "Two fixed bearings turn heat into a push on the cells, thousands of newtons for a usual "
        "shaft.",
        "The floating end moves by hand or with a soft mallet, and play is left on both sides.",
    ),
    MountingStep(
        "Level and parallel",
        "Bring the roller level, and parallel to the rollers next to it.",
        "A roller out of parallel loads one side more, and steers the web aside.",
        "A machinist's level stays in the middle; the distance to the next roller is the same on "
        "both sides, or the web runs with both edges equally tight.",
    ),
    MountingStep(
        "Cables",
        "Clamp each cable at the cell with a loose loop before the clamp, keep it away from power "
        "cables and drives, and ground its shield at the end that the maker names.",
        "A taut cable carries load past the cell, and power cables put hum on millivolts.",
        "Moving cable and plug by hand does not move the reading, nor does starting a drive.",
    ),
    MountingStep(
        "Warm up, zero, then calibrate",
        "Switch on and wait until the reading rests. Turn the roller a few turns, set zero with "
        "nothing on it, hang the known weight on the web's path, set the span, take it off and "
        "look at zero again.",
        "A span is counted from zero: set in the other order both are wrong.",
        "The reading returns to 0 with nothing on the roller, and to the weight with it, twice.",
    ),
)

MOUNTING_CAUTIONS = (
    "Work on load cells is work on a machine that is locked out, de-energised and tried; the one "
    "who works holds the key.",
    "Hold the roller with gear rated for it whenever a bearing or a cell is loose.",
    "Loads, torques and bolts are those of the maker's manual; nothing here replaces it.",
    "Never stand under a hung weight or in line with a taut rope; keep feet and hands out of the "
    "way of both.",
    "Never weld on the machine with cells connected, and never lift a roller by its cells.",
    "Local codes and licensed practice decide who may do this work.",
)
