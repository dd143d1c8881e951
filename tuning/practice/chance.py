"""What is left to chance in a drill, decided by its seed."""

from __future__ import annotations

import numpy as np

# Left 20 % off, a setpoint is plainly wrong and no web breaks [share of the wanted tension, -].
SETPOINT_SHARE = 0.2


def chance(seed: int, what: str) -> float:
    """Return a number from 0 to 1 that the seed decides [-]; another for each purpose.

    Args:
        seed: of the run [-].
        what: the purpose.
    """
    return float(np.random.default_rng([seed, *what.encode()]).random())


def off_setpoint(wanted: float, seed: int) -> float:
    """Return a setpoint that someone has left a fifth above or below the wanted tension [N].

    Args:
        wanted: tension [N].
        seed: of the run [-].
    """
    return wanted * (1.0 + (SETPOINT_SHARE if chance(seed, "setpoint") < 0.5 else -SETPOINT_SHARE))
