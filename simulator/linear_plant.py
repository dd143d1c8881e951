"""A linear plant with exact dead time, and its exact sampled form.

The plant is

    dx/dt = A x + B u(t - L) + B_speed dv,      y = C x

with u the controller output [%], y the measured tension [% of the tension range], dv a change of
line speed [m/s] and L the dead time [s]. Dead time is never approximated: in the frequency domain
it is the factor exp(-j w L), and in the sampled form it is a whole number of scans plus a part.

Sampled form with a zero-order hold and a fractional delay: Åström & Wittenmark, Computer-Controlled
Systems, 3rd ed., section 2.3 (restated from memory; the tests compare with scipy and with
python-control).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.linalg import expm, schur
from scipy.linalg.lapack import dgebal

if TYPE_CHECKING:
    import control

Array = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]


def split_dead_time(dead_time: float, scan_time: float) -> tuple[int, float]:
    """Return a dead time as whole scans [-] and the part of a scan left over [s].

    Args:
        dead_time: to split [s].
        scan_time: of the controller [s].
    """
    # A dead time of 2.9999999 scans is 3 scans written in floating point.
    whole = int(dead_time / scan_time + 1e-9)
    part = dead_time - whole * scan_time
    return whole, part if part > 1e-9 * scan_time else 0.0


def _responses(A: Array, B: NDArray[Any], C: Array, points: NDArray[Any]) -> ComplexArray:
    """Return C (p I - A)^-1 B for each point p; B may differ from point to point.

    Shapes: A (n, n), B (m, n), C (n,), points (m,) -> (m,).
    """
    T, Q, scale = triangular(A)
    return triangular_responses(T, (B / scale) @ Q.conj(), (C * scale) @ Q, points)


def triangular(A: Array) -> tuple[ComplexArray, ComplexArray, Array]:
    """Return (T, Q, scale) with A = S Q T Q* S^-1: T upper triangular, Q unitary, S = diag(scale).

    The states are scaled first: strains and tensions differ by seven powers of ten.

    Args:
        A: state matrix, shape (n, n) [any].
    """
    balanced, _, _, scale, _ = dgebal(A, scale=1, permute=0)
    T, Q = schur(balanced, output="complex")
    return T, Q, scale


def triangular_responses(
    T: ComplexArray, B: NDArray[Any], C: NDArray[Any], points: NDArray[Any]
) -> ComplexArray:
    """Return C (p I - T)^-1 B for each point p by back substitution, all points at once.

    Args:
        T: upper triangular, shape (…, n, n) [any].
        B: input columns, shape (…, m, n), or (…, 1, n) where they are the same at all points [any].
        C: measurement rows, shape (…, n) [any].
        points: where to evaluate, shape (…, m) [any].
    """
    n = T.shape[-1]
    solved: list[NDArray[Any]] = [points] * n
    total = np.zeros(points.shape, dtype=np.complex128)
    for i in range(n - 1, -1, -1):
        right = B[..., i]
        for j in range(i + 1, n):
            right = right + T[..., i, j, None] * solved[j]
        solved[i] = right / (points - T[..., i, i, None])
        total += C[..., i, None] * solved[i]
    return total


@dataclass(frozen=True)
class SampledPlant:
    """The plant as a controller sees it once a scan, exact for a held output.

    x[k+1] = Phi x[k] + late u[k - delay - 1] + prompt u[k - delay],   y[k] = C x[k]

    Attributes:
        Phi: transition over one scan, shape (n, n) [state per state].
        late: effect of the older output in the scan, shape (n,) [state per %].
        prompt: effect of the newer output in the scan, shape (n,) [state per %].
        C: measurement row, shape (n,) [% of range per state].
        delay: whole scans of dead time [-].
        scan_time: scan time [s].
    """

    Phi: Array
    late: Array
    prompt: Array
    C: Array
    delay: int
    scan_time: float

    def frequency_response(self, omega: ArrayLike) -> ComplexArray:
        """Return y/u at z = exp(j omega scan_time).

        Args:
            omega: angular frequencies up to pi/scan_time, shape (m,) [rad/s].

        Returns:
            Complex response, shape (m,) [% of range per % of output].
        """
        z = np.exp(1j * np.atleast_1d(np.asarray(omega, dtype=float)) * self.scan_time)
        B = (self.prompt + self.late / z[:, None]) * (z**-self.delay)[:, None]
        return _responses(self.Phi, B, self.C, z)

    def with_delay_states(self) -> tuple[Array, Array, Array]:
        """Return (A, B, C) [per scan] of the same plant with the outputs under way as states.

        Shapes: A (n + d, n + d), B (n + d,), C (n + d,), d = delay, plus one if part of a scan
        is left over.
        """
        n = self.Phi.shape[0]
        d = self.delay + (1 if np.any(self.late) else 0)
        A = np.zeros((n + d, n + d))
        B = np.zeros(n + d)
        A[:n, :n] = self.Phi
        # State n + i holds u[k - 1 - i].
        if d:
            B[n] = 1.0
            A[n + 1 :, n:-1] = np.eye(d - 1)
        if d > self.delay:
            A[:n, n + self.delay] = self.late
        if self.delay:
            A[:n, n + self.delay - 1] += self.prompt
        else:
            B[:n] = self.prompt
        return A, B, np.concatenate([self.C, np.zeros(d)])


@dataclass(frozen=True)
class LinearPlant:
    """Output to measured tension about one operating point, linear, with exact dead time.

    Attributes:
        A: state matrix, shape (n, n) [1/s where the states share a unit].
        B: output column, shape (n,) [state per s per %].
        C: measurement row, shape (n,) [% of range per state].
        dead_time: dead time of torque device and load cell together [s].
        B_speed: line speed column, shape (n,) [state per s per m/s]; zeros if it is not modelled.
        natural_frequency: of the roll swinging on the web [rad/s]; nan if it is not modelled.
        damping_ratio: of the same motion [-]; nan if it is not modelled.
        states: a name with its unit for each state, length n.
        warnings: what a reader of results from this plant should know.
    """

    A: Array
    B: Array
    C: Array
    dead_time: float
    B_speed: Array = field(default_factory=lambda: np.zeros(0))
    natural_frequency: float = float("nan")
    damping_ratio: float = float("nan")
    states: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()

    @property
    def poles(self) -> ComplexArray:
        """Eigenvalues of A, shape (n,) [1/s]."""
        return np.asarray(np.linalg.eigvals(self.A), dtype=np.complex128)

    @property
    def slowest_time(self) -> float:
        """Time constant of the slowest mode [s]; inf if it does not die away."""
        fall = float(-self.poles.real.max())
        return 1.0 / fall if fall > 0.0 else float("inf")

    @property
    def static_gain(self) -> float:
        """Steady change of tension per change of output [% of range per %]; inf if integrating."""
        try:
            return float(-self.C @ np.linalg.solve(self.A, self.B))
        except np.linalg.LinAlgError:
            return float("inf")

    def frequency_response(self, omega: ArrayLike) -> ComplexArray:
        """Return y/u at s = j omega, dead time exact.

        Args:
            omega: angular frequencies, shape (m,) [rad/s].

        Returns:
            Complex response, shape (m,) [% of range per % of output].
        """
        s = 1j * np.atleast_1d(np.asarray(omega, dtype=float))
        B = np.exp(-s * self.dead_time)[:, None] * self.B
        return _responses(self.A, B, self.C, s)

    def sampled(self, scan_time: float) -> SampledPlant:
        """Return the exact zero-order-hold form at a scan time, with the fractional delay.

        Args:
            scan_time: time between two samples of the controller [s].

        Raises:
            ValueError: the scan time is not positive.
        """
        if not scan_time > 0.0:
            raise ValueError(f"scan_time {scan_time} s: must be above 0 s")
        whole, part = split_dead_time(self.dead_time, scan_time)
        prompt, transition = self._held_input(scan_time - part)
        late = np.zeros_like(self.B)
        if part:
            # The older output acts first, for `part`; its effect then decays for the rest.
            effect, before = self._held_input(part)
            late, transition = transition @ effect, transition @ before
        return SampledPlant(transition, late, prompt, self.C, whole, scan_time)

    def _held_input(self, duration: float) -> tuple[Array, Array]:
        """Return (integral of exp(A t) B over the duration, exp(A duration))."""
        n = self.A.shape[0]
        block = np.zeros((n + 1, n + 1))
        block[:n, :n] = self.A
        block[:n, n] = self.B
        full = expm(block * duration)
        return full[:n, n], full[:n, :n]

    def state_space(self) -> control.StateSpace:
        """Return python-control's state space from (output, line speed) without the dead time."""
        # Only here, because it takes most of a second to import and most runs don't need it.
        import control

        B_speed = self.B_speed if self.B_speed.size else np.zeros_like(self.B)
        inputs = np.column_stack([self.B, B_speed])
        return control.ss(
            self.A, inputs, self.C[None, :], np.zeros((1, 2)),
            inputs=["output", "line_speed"], outputs=["tension"],
        )  # fmt: skip
