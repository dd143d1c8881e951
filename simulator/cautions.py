"""The usual cautions for work at a web machine, said once for the screens and the report.

Common practice of the trade, no source; the machine's own manual and local codes go before them.
"""

CAUTIONS = (
    "Rotating rolls and running nips draw in hands, hair and clothes: work at them only with "
    "guards in place, or with the machine locked out and tried.",
    "A full roll keeps turning, and a web under tension keeps pulling, after power is off: let the "
    "energy out before you open anything.",
    "Vent and lock pneumatic pressure; a brake may release, or grip, when it goes.",
    "A brake or clutch that has slipped is hot enough to burn.",
    "Lift rolls, and hang calibration weights, only with gear rated for the load.",
    "Try new gains at low speed and low tension first, with a hand on manual and the emergency "
    "stop tested.",
)

ADVICE = (
    "The numbers come from a model of the machine and advise only; this tool never drives a "
    "machine. The machine's manual, local codes and licensed practice come first."
)
