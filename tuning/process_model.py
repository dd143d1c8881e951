"""The three small process models that tuning rules are written for.

first order     K exp(-L s) / (T s + 1)
second order    K exp(-L s) / (T^2 s^2 + 2 zeta T s + 1)     T = 1/natural frequency
integrating     K exp(-L s) / s                               K in % per % and second
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from simulator.linear_plant import LinearPlant

Array = NDArray[np.float64]
Kind = Literal["first order", "second order", "integrating"]


@dataclass(frozen=True)
class ProcessModel:
    """One of the three models, from output [%] to measurement [% of range].

    Attributes:
        kind: "first order", "second order" or "integrating".
        gain: static gain K [%/%], or the rate of rise [%/(% s)] of an integrating model.
        time_constant: T [s]; 0 for an integrating model or a pure delay.
        dead_time: L [s].
        damping: damping ratio zeta of a second-order model [-]; below 1 it overshoots.

    Raises:
        ValueError: a value is not finite, a time is negative, or damping does not fit the kind.
    """

    kind: Kind
    gain: float
    time_constant: float
    dead_time: float
    damping: float | None = None

    def __post_init__(self) -> None:
        if self.kind not in ("first order", "second order", "integrating"):
            raise ValueError(f"kind {self.kind!r}: first order, second order or integrating")
        if not (np.isfinite(self.gain) and self.gain != 0.0):
            raise ValueError(f"gain {self.gain}: must be finite and not 0")
        if not (np.isfinite(self.time_constant) and self.time_constant >= 0.0):
            raise ValueError(f"time_constant {self.time_constant} s: must be 0 s or more")
        if not (np.isfinite(self.dead_time) and self.dead_time >= 0.0):
            raise ValueError(f"dead_time {self.dead_time} s: must be 0 s or more")
        if (self.kind == "second order") != (self.damping is not None):
            raise ValueError("damping belongs to a second order model and to no other")
        if self.damping is not None and not (np.isfinite(self.damping) and self.damping > 0.0):
            raise ValueError(f"damping {self.damping}: must be above 0")
        if self.kind == "second order" and self.time_constant == 0.0:
            raise ValueError("time_constant 0 s: a second order model needs one above 0 s")

    def step_response(self, time: ArrayLike) -> Array:
        """Return the response to a step of 1 % at time 0, in closed form.

        Args:
            time: times, shape (n,) [s]; negative times give 0.

        Returns:
            Change of the measurement, shape (n,) [% of range].
        """
        t = np.maximum(np.asarray(time, dtype=float) - self.dead_time, 0.0)
        if self.kind == "integrating":
            return np.asarray(self.gain * t)
        if self.time_constant == 0.0:
            late = np.asarray(time, dtype=float) >= self.dead_time
            return np.asarray(self.gain * late, dtype=float)
        x = t / self.time_constant
        if self.damping is None:
            return np.asarray(-self.gain * np.expm1(-x))
        return np.asarray(self.gain * (1.0 - second_order_remainder(x, self.damping)))

    def linear_plant(self) -> LinearPlant:
        """Return the same model as a state-space plant with exact dead time.

        Raises:
            ValueError: a pure delay has no state to hold it.
        """
        K, T = self.gain, self.time_constant
        if self.kind == "integrating":
            A, B, C = [[0.0]], [1.0], [K]
        elif T == 0.0:
            raise ValueError("time_constant 0 s: a pure delay has no state-space form")
        elif self.damping is None:
            A, B, C = [[-1.0 / T]], [1.0 / T], [K]
        else:
            # Scaled time keeps the matrix balanced: states y and T dy/dt.
            A = [[0.0, 1.0 / T], [-1.0 / T, -2.0 * self.damping / T]]
            B, C = [0.0, 1.0 / T], [K, 0.0]
        return LinearPlant(np.array(A), np.array(B), np.array(C), self.dead_time)


def second_order_remainder(x: Array, damping: float) -> Array:
    """Return what is left of a unit step after x = t/T for T^2 y'' + 2 zeta T y' + y = 1.

    Args:
        x: time in natural periods over 2 pi, shape (n,) [-], 0 or more.
        damping: damping ratio [-].

    Returns:
        1 - y, shape (n,) [-].
    """
    z = damping
    if z < 1.0 - 1e-6:
        w = np.sqrt(1.0 - z * z)
        return np.asarray(np.exp(-z * x) * (np.cos(w * x) + z / w * np.sin(w * x)))
    if z <= 1.0 + 1e-6:
        return np.asarray(np.exp(-x) * (1.0 + x))
    w = np.sqrt(z * z - 1.0)
    # Two real poles, the slow one written without cancellation: (z - w) = 1/(z + w).
    slow, fast = 1.0 / (z + w), z + w
    return np.asarray((fast * np.exp(-slow * x) - slow * np.exp(-fast * x)) / (fast - slow))
