"""Controller gains in the ISA standard form, and the same gains in the forms controllers use.

    u = Kc [ b r - y + 1/Ti integral(r - y) dt - Td dy_f/dt ] + bias

with r and y in % of the tension range, u in % of output, and y_f the measurement through a
first-order filter of time constant Td/filter_ratio. Terms: IEC 60050-351, entry 351-50-19.

"Parallel form" means different things in different texts, so it is not used here: the three
separate factors are called independent gains and every table shows their formula.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

if TYPE_CHECKING:
    from simulator.scenario import Scenario
    from simulator.sensing_and_control import Controller

Array = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

# The integral time of an "integral only" controller written in the standard form [s].
INTEGRAL_ONLY_TIME = 1e-3


@dataclass(frozen=True)
class Gains:
    """Gains of a PI or PID controller in the ISA standard form, in % of range.

    Attributes:
        Kc: proportional gain [% of output per % of range].
        Ti: integral time [s]; inf for no integral action.
        Td: derivative time [s]; 0 for no derivative action.
        filter_ratio: Td over the time constant of the derivative filter, usually 5 to 20 [-].
        setpoint_weight: b, the share of the setpoint seen by the proportional action [-].

    Raises:
        ValueError: a value is not a number or out of its range.
    """

    Kc: float
    Ti: float
    Td: float = 0.0
    filter_ratio: float = 10.0
    setpoint_weight: float = 1.0

    def __post_init__(self) -> None:
        if not (math.isfinite(self.Kc) and self.Kc >= 0.0):
            raise ValueError(f"Kc {self.Kc}: must be finite and 0 or more")
        if not self.Ti > 0.0:
            raise ValueError(f"Ti {self.Ti} s: must be above 0 s, or inf for no integral action")
        if not (math.isfinite(self.Td) and self.Td >= 0.0):
            raise ValueError(f"Td {self.Td} s: must be finite and 0 s or more")
        if not (math.isfinite(self.filter_ratio) and self.filter_ratio > 0.0):
            raise ValueError(f"filter_ratio {self.filter_ratio}: must be finite and above 0")
        if not math.isfinite(self.setpoint_weight):
            raise ValueError(f"setpoint_weight {self.setpoint_weight}: must be finite")

    @classmethod
    def integral_only(cls, Ki: float) -> Gains:
        """Return the closest the standard form comes to integral action alone.

        The standard form has no setting for Kc = 0 with integral action, so Ti is set to 1 ms and
        Kc to Ki Ti: the proportional part is that of 1 ms of integral action.

        Args:
            Ki: integral gain [% of output per % of range and second].
        """
        return cls(Kc=Ki * INTEGRAL_ONLY_TIME, Ti=INTEGRAL_ONLY_TIME)

    @classmethod
    def from_controller(cls, controller: Controller) -> Gains:
        """Return the gains written in a scenario's controller.

        Args:
            controller: the controller of a scenario [-].

        Raises:
            ValueError: the scenario gives no Kc.
        """
        if controller.Kc is None:
            raise ValueError("controller.Kc: not given, so the scenario has no gains as found")
        return cls(
            Kc=controller.Kc,
            Ti=math.inf if controller.Ti is None else controller.Ti,
            Td=controller.Td,
            filter_ratio=controller.filter_ratio,
            setpoint_weight=controller.setpoint_weight,
        )

    def set_in(self, scenario: Scenario) -> Scenario:
        """Return the scenario with these gains in its controller, in place of any schedule.

        Args:
            scenario: the scenario to copy [-].
        """
        controller = replace(
            scenario.controller,
            Kc=self.Kc,
            Ti=self.Ti if math.isfinite(self.Ti) else None,
            Td=self.Td,
            filter_ratio=self.filter_ratio,
            setpoint_weight=self.setpoint_weight,
            schedule=(),
        )
        return replace(scenario, controller=controller)

    @property
    def Ki(self) -> float:
        """Integral gain Kc/Ti [% of output per % of range and second]."""
        return self.Kc / self.Ti

    @property
    def is_integral_only(self) -> bool:
        """Whether the proportional part is only there because the standard form needs one."""
        return self.Kc > 0.0 and self.Td == 0.0 and self.Ti <= INTEGRAL_ONLY_TIME

    @property
    def note(self) -> str:
        """What to say beside these gains; empty for most."""
        if not self.is_integral_only:
            return ""
        return (
            f"Integral action only, Ki {self.Ki:.4g} per s. A controller in the standard form needs"
            f" a Kc: here Ti is {1e3 * self.Ti:.3g} ms and Kc = Ki Ti. If yours has independent"
            " gains, set Kp to 0 and Ki to the value given; if its smallest Ti is longer, set that"
            " Ti and Kc = Ki Ti, and judge the loop again with those values."
        )

    def frequency_response(self, omega: ArrayLike) -> ComplexArray:
        """Return u over (-y) of the continuous controller at s = j omega.

        Args:
            omega: angular frequencies above 0, shape (m,) [rad/s].

        Returns:
            Kc (1 + 1/(Ti s) + Td s/(1 + s Td/N)), shape (m,) [% of output per % of range].
        """
        s = 1j * np.atleast_1d(np.asarray(omega, dtype=float))
        derivative = self.Td * s / (1.0 + s * self.Td / self.filter_ratio)
        integral = (1.0 / self.Ti) / s
        return np.asarray(self.Kc * (1.0 + integral + derivative), dtype=np.complex128)

    def sampled_frequency_response(self, omega: ArrayLike, scan_time: float) -> ComplexArray:
        """Return u over (-y) of the controller as its scan computes it, at z = exp(j omega h).

        The integral is summed forward, I[k+1] = I[k] + Kc h/Ti e[k], and the derivative taken
        backward, D[k] = Tf/(Tf + h) D[k-1] - Kc Td/(Tf + h) (y[k] - y[k-1]) with Tf = Td/N
        (Åström & Wittenmark, Computer-Controlled Systems, section 8.5, from memory).

        Args:
            omega: angular frequencies above 0, up to pi/scan_time, shape (m,) [rad/s].
            scan_time: scan time h [s].

        Returns:
            Complex response, shape (m,) [% of output per % of range].
        """
        decay, kick = self._derivative(scan_time)
        z = np.exp(1j * np.atleast_1d(np.asarray(omega, dtype=float)) * scan_time)
        integral = self.Ki * scan_time / (z - 1.0)
        return np.asarray(self.Kc + integral + kick * (z - 1.0) / (z - decay), dtype=np.complex128)

    def sampled_state_space(self, scan_time: float) -> tuple[Array, Array, Array, float]:
        """Return (A, B, C, D) [per scan] of the same digital controller from y to u, with r = 0.

        x[k+1] = A x[k] + B y[k],  u[k] = C x[k] + D y[k]. Only the states in use are kept, so that
        a controller without integral action adds no eigenvalue at 1. The minus sign of the
        feedback is inside.

        Args:
            scan_time: scan time h [s].

        Returns:
            A (n, n), B (n,), C (n,) and D, n from 0 to 2 [% of output, % of range].
        """
        decay, kick = self._derivative(scan_time)
        poles, inputs = [], []
        if self.Ki > 0.0:
            poles.append(1.0)
            inputs.append(-self.Ki * scan_time)
        if kick > 0.0:
            # State w[k] = decay D[k-1] + kick y[k-1], so that D[k] = w[k] - kick y[k].
            poles.append(decay)
            inputs.append(kick * (1.0 - decay))
        n = len(poles)
        A = np.zeros((n, n))
        A[range(n), range(n)] = poles
        return A, np.array(inputs), np.ones(n), -self.Kc - kick

    def _derivative(self, scan_time: float) -> tuple[float, float]:
        """Return (decay, kick) of D[k] = decay D[k-1] - kick (y[k] - y[k-1])."""
        if not scan_time > 0.0:
            raise ValueError(f"scan_time {scan_time} s: must be above 0 s")
        filter_time = self.Td / self.filter_ratio
        span = filter_time + scan_time
        return filter_time / span, self.Kc * self.Td / span


@dataclass(frozen=True)
class SeriesGains:
    """Gains of the series (interacting) form, Kc (1 + 1/(Ti s)) (1 + Td s).

    Attributes:
        Kc: proportional gain of the series form [% of output per % of range].
        Ti: integral time of the series form [s]; inf for no integral action.
        Td: derivative time of the series form [s].
    """

    Kc: float
    Ti: float
    Td: float = 0.0

    def standard(self) -> Gains:
        """Return the same controller in the ISA standard form (exact without derivative filter)."""
        ratio = self.Td / self.Ti
        return Gains(Kc=self.Kc * (1.0 + ratio), Ti=self.Ti + self.Td, Td=self.Td / (1.0 + ratio))


@dataclass(frozen=True)
class IndependentGains:
    """Gains of u = Kp e + Ki integral(e) dt + Kd de/dt.

    Attributes:
        Kp: proportional gain [% of output per unit of error].
        Ki: integral gain [% of output per unit of error and second].
        Kd: derivative gain [% of output and second per unit of error].
        error_unit: unit of the error, "%" of range or "N" [-].
    """

    Kp: float
    Ki: float
    Kd: float
    error_unit: str = "%"

    def standard(self, tension_range: float | None = None) -> Gains:
        """Return the same controller in the ISA standard form.

        Args:
            tension_range: 100 % of the measured scale [N]; needed where the error is in N.

        Raises:
            ValueError: Kp is 0 (the standard form has no such setting, see Gains.integral_only),
                or the tension range is missing.
        """
        if not self.Kp > 0.0:
            raise ValueError(f"Kp {self.Kp}: the standard form needs a Kp above 0")
        scale = 1.0
        if self.error_unit == "N":
            if tension_range is None:
                raise ValueError("tension_range: needed to turn gains per N into gains per %")
            scale = _checked_range(tension_range) / 100.0
        Ti = self.Kp / self.Ki if self.Ki else math.inf
        return Gains(Kc=self.Kp * scale, Ti=Ti, Td=self.Kd / self.Kp)


@dataclass(frozen=True)
class FormRow:
    """One number of a controller, in one of the forms a controller may ask for.

    Attributes:
        form: name of the form [-].
        symbol: symbol in that form [-].
        value: the number, in `unit`; None where this form can't hold the gains [-].
        unit: unit of the value [-].
        formula: how it follows from Kc, Ti and Td of the standard form [-].
    """

    form: str
    symbol: str
    value: float | None
    unit: str
    formula: str


def to_series(gains: Gains) -> SeriesGains:
    """Return the gains in the series (interacting) form, exact without derivative filter.

    Args:
        gains: gains in the ISA standard form [-].

    Raises:
        ValueError: Ti is below 4 Td, where the series form has no real gains.
    """
    if gains.Td == 0.0 or math.isinf(gains.Ti):
        return SeriesGains(gains.Kc, gains.Ti, gains.Td)
    ratio = 4.0 * gains.Td / gains.Ti
    # Ti = 4 Td written in floating point may miss by a rounding error.
    if ratio > 1.0 + 1e-12:
        raise ValueError(
            f"Ti {gains.Ti:g} s is below 4 Td = {4.0 * gains.Td:g} s:"
            " the series form can't hold these gains"
        )
    share = 0.5 * (1.0 + math.sqrt(max(1.0 - ratio, 0.0)))
    return SeriesGains(gains.Kc * share, gains.Ti * share, gains.Td / share)


def to_independent(gains: Gains, tension_range: float | None = None) -> IndependentGains:
    """Return the independent gains Kp = Kc, Ki = Kc/Ti, Kd = Kc Td.

    Args:
        gains: gains in the ISA standard form [-].
        tension_range: 100 % of the measured scale [N]; with it the gains are per N of error,
            without it per % of range.
    """
    if tension_range is None:
        return IndependentGains(gains.Kc, gains.Ki, gains.Kc * gains.Td)
    per_newton = 100.0 / _checked_range(tension_range)
    Kp, Ki, Kd = gains.Kc, gains.Ki, gains.Kc * gains.Td
    return IndependentGains(Kp * per_newton, Ki * per_newton, Kd * per_newton, error_unit="N")


def proportional_band(gains: Gains) -> float:
    """Return the proportional band 100/Kc [% of range]; inf where Kc is 0.

    Args:
        gains: gains in the ISA standard form [-].
    """
    return 100.0 / gains.Kc if gains.Kc > 0.0 else math.inf


def repeats_per_minute(gains: Gains) -> float:
    """Return the reset rate 60/Ti [repeats a minute]; 0 without integral action.

    Args:
        gains: gains in the ISA standard form [-].
    """
    return 60.0 / gains.Ti


def in_all_forms(gains: Gains, tension_range: float) -> tuple[FormRow, ...]:
    """Return the gains in every form of this module, as rows of a table.

    Without derivative action its rows are left out, and those of the series form, which then is
    the standard one.

    Args:
        gains: gains in the ISA standard form [-].
        tension_range: 100 % of the measured scale [N].

    Raises:
        ValueError: the tension range is not above 0 N.
    """
    percent = to_independent(gains)
    newton = to_independent(gains, tension_range)
    standard, band = "ISA standard", "proportional band and reset"
    own, engineering = "independent gains, error in %", "independent gains, error in N"
    rows = (
        (standard, "Kc", gains.Kc, "%/%", "Kc"),
        (standard, "Ti", gains.Ti, "s", "Ti"),
        (standard, "Ti", gains.Ti / 60.0, "min", "Ti/60"),
        (standard, "Td", gains.Td, "s", "Td"),
        (standard, "Td", gains.Td / 60.0, "min", "Td/60"),
        (band, "PB", proportional_band(gains), "%", "100/Kc"),
        (band, "reset rate", repeats_per_minute(gains), "repeats/min", "60/Ti"),
        (own, "Kp", percent.Kp, "%/%", "Kc"),
        (own, "Ki", percent.Ki, "%/(% s)", "Kc/Ti"),
        (own, "Kd", percent.Kd, "% s/%", "Kc Td"),
        (engineering, "Kp", newton.Kp, "%/N", "100 Kc/range"),
        (engineering, "Ki", newton.Ki, "%/(N s)", "100 Kc/(Ti range)"),
        (engineering, "Kd", newton.Kd, "% s/N", "100 Kc Td/range"),
    )
    if gains.Td == 0.0:
        return tuple(FormRow(*row) for row in rows if row[1] not in ("Td", "Kd"))
    return tuple(FormRow(*row) for row in rows) + _series_rows(gains)


def _series_rows(gains: Gains) -> tuple[FormRow, ...]:
    form, share = "series (interacting)", "f = (1 + sqrt(1 - 4 Td/Ti))/2"
    try:
        series = to_series(gains)
    except ValueError:
        reason = "not reachable: Ti is below 4 Td"
        values = (("Kc'", None, "%/%", reason), ("Ti'", None, "s", reason),
                  ("Td'", None, "s", reason))  # fmt: skip
        return tuple(FormRow(form, *row) for row in values)
    return (
        FormRow(form, "Kc'", series.Kc, "%/%", f"f Kc, {share}"),
        FormRow(form, "Ti'", series.Ti, "s", f"f Ti, {share}"),
        FormRow(form, "Td'", series.Td, "s", f"Td/f, {share}"),
    )


def _checked_range(tension_range: float) -> float:
    if not (math.isfinite(tension_range) and tension_range > 0.0):
        raise ValueError(f"tension_range {tension_range} N: must be finite and above 0 N")
    return tension_range
