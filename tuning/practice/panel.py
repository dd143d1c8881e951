"""What an operator sees of the live machine at one moment: the one thing that screens draw."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

Web = Literal["taut", "slack", "broken"]
Line = Literal["standing", "speeding up", "running", "slowing down"]

# How far back the panel's trend goes [s].
WINDOW = 60.0


@dataclass(frozen=True, eq=False)
class Panel:
    """What the operator's panel shows at one moment.

    Attributes:
        time: since the start [s].
        reading: of the load cell [N].
        setpoint: the working setpoint [N].
        output: of the controller [%].
        automatic_output: what the output would become at the first scan in automatic [%].
        line_speed: at the nip [m/s].
        diameter: of the roll [m].
        roll_angle: how far the roll has turned [rad].
        automatic: whether the controller is in automatic [-].
        line: what the line does.
        web: whether the web is taut, slack or broken.
        wanted: tension that the job card asks for [N].
        recent: the last `WINDOW` of rows of time [s], reading [N], setpoint [N], output [%] and
            automatic [-] (0 or 1), shape (n, 5), n below 1000.
        band: how far the tension may be off [share of wanted, -].
    """

    time: float
    reading: float
    setpoint: float
    output: float
    automatic_output: float
    line_speed: float
    diameter: float
    roll_angle: float
    automatic: bool
    line: Line
    web: Web
    wanted: float
    recent: Array
    band: float = 0.1
