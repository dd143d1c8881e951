"""The tuning rules: one table, from the name of a rule to its formula, source and range.

Every rule gives gains in the ISA standard form. Rules written for a lag with a dead time know
nothing of a roll that swings on its web: they are offered, with a warning where the test shows a
resonance, and every loop must be judged on its margins before its gains are used.

Symbols: gain K, time constant T, dead time L, damping zeta, ultimate gain Ku and period Pu,
a = K L/T, r = L/T, design time (tau_c or lambda in the papers).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Literal

from tuning.gains import Gains, SeriesGains, to_series
from tuning.process_model import ProcessModel
from tuning.ultimate import Ultimate

Form = Literal["P", "PI", "PID", "I"]
Needs = Literal["first order", "second order", "integrating", "ultimate cycle"]


@dataclass(frozen=True)
class Given:
    """What a rule may use; what its `needs` does not give is nan.

    Attributes:
        K: gain of the model [%/%], or the rate of rise of an integrating one [%/(% s)].
        T: time constant [s].
        L: dead time [s].
        zeta: damping ratio [-].
        Ku: ultimate gain [% of output per % of range].
        Pu: ultimate period [s].
        wanted: design time asked for [s]; None for the rule's own default.
    """

    K: float = math.nan
    T: float = math.nan
    L: float = math.nan
    zeta: float = math.nan
    Ku: float = math.nan
    Pu: float = math.nan
    wanted: float | None = None

    @property
    def r(self) -> float:
        """Dead time over time constant [-]."""
        return self.L / self.T

    @property
    def a(self) -> float:
        """Gain times dead time over time constant [%/%]."""
        return self.K * self.L / self.T

    def lag(self, default: float) -> float:
        """Return design time plus dead time, the lag of the wanted loop [s].

        Args:
            default: design time where none was asked for [s].
        """
        return self.L + (default if self.wanted is None else self.wanted)


@dataclass(frozen=True)
class Rule:
    """One tuning rule.

    Attributes:
        name: its key in `RULES` [-].
        form: controller it gives: P, PI, PID, or I for integral only [-].
        needs: what it is computed from [-].
        source: paper or text, with the version where versions differ [-].
        from_memory: whether the formula was recalled rather than read in a text [-].
        function: the formula [-].
        ratio: range of L/T it was written for [-]; None for any.
        condition: further conditions in words [-].
        design_time: what the design time is and its default; empty if the rule has none [-].
        caution: a warning that always goes with its gains [-].
    """

    name: str
    form: Form
    needs: Needs
    source: str
    from_memory: bool
    function: Callable[[Given], Gains]
    ratio: tuple[float, float] | None = None
    condition: str = ""
    design_time: str = ""
    caution: str = ""

    @property
    def applies(self) -> str:
        """What the rule was written for, in plain text."""
        if self.ratio is None:
            return self.condition or f"any model of kind {self.needs}"
        low, high = self.ratio
        text = f"L/T ≥ {low:g}" if math.isinf(high) else f"{low:g} ≤ L/T ≤ {high:g}"
        return f"{text}, {self.condition}" if self.condition else text


@dataclass(frozen=True)
class Suggestion:
    """What one rule gives for one test.

    Attributes:
        rule: the rule [-].
        gains: its gains [-]; None where it can't be used, the reason being in `warnings`.
        warnings: what a reader of the gains should know [-].
    """

    rule: Rule
    gains: Gains | None
    warnings: tuple[str, ...] = ()


def _amigo_pi(g: Given) -> Gains:
    Kc = 0.15 / g.K + (0.35 - g.L * g.T / (g.L + g.T) ** 2) * g.T / (g.K * g.L)
    Ti = 0.35 * g.L + 13.0 * g.L * g.T**2 / (g.T**2 + 12.0 * g.L * g.T + 7.0 * g.L**2)
    return Gains(Kc, Ti)


def _amigo_pid(g: Given) -> Gains:
    Kc = (0.2 + 0.45 * g.T / g.L) / g.K
    Ti = (0.4 * g.L + 0.8 * g.T) * g.L / (g.L + 0.1 * g.T)
    return Gains(Kc, Ti, 0.5 * g.L * g.T / (0.3 * g.L + g.T))


def _simc_pid(g: Given) -> Gains:
    if g.zeta < 1.0:
        raise ValueError(f"damping {g.zeta:.3g}: the rule needs two real time constants")
    spread = math.sqrt(g.zeta**2 - 1.0)
    slow = g.T * (g.zeta + spread)
    # The product of both is T^2: no difference of near equals.
    fast = g.T**2 / slow
    lag = g.lag(g.L)
    return SeriesGains(slow / (g.K * lag), min(slow, 4.0 * lag), fast).standard()


def _cancelling_pid(g: Given) -> Gains:
    if g.zeta >= 1.0:
        raise ValueError(f"damping {g.zeta:.3g}: the rule is for damping below 1")
    Ti = 2.0 * g.zeta * g.T
    # The filter must stay a tenth of T or less: one of Td/10 would undo the cancelling.
    ratio = max(10.0, 5.0 / g.zeta)
    return Gains(Ti / (g.K * g.lag(g.L)), Ti, g.T / (2.0 * g.zeta), filter_ratio=ratio)


_REACTION = "Ziegler & Nichols, Trans. ASME 64, 1942, reaction curve"
_ULTIMATE = "Ziegler & Nichols, Trans. ASME 64, 1942, ultimate cycle"
_TYREUS = "Tyreus & Luyben, Ind. Eng. Chem. Res. 31, 1992"
_COHEN = "Cohen & Coon, Trans. ASME 75, 1953"
_CHIEN = "Chien, Hrones & Reswick, Trans. ASME 74, 1952"
_IMC = "Rivera, Morari & Skogestad, Ind. Eng. Chem. Process Des. Dev. 25, 1986"
_SIMC = "Skogestad, J. Process Control 13, 2003"
_AMIGO = "Åström & Hägglund, AMIGO, J. Process Control 14, 2004, and Advanced PID Control, 2006"
_LOPEZ = "Lopez, 1967, as tabled by Smith & Corripio and by Seborg, Edgar & Mellichamp"
_ROVIRA = "Rovira, 1969, as tabled by Smith & Corripio and by Seborg, Edgar & Mellichamp"

_QUARTER = "aims at quarter-amplitude decay: expect overshoot and thin margins"
_SWINGS = "any plant that can be brought to a steady swing"
_TAU = "tau_c, closed-loop time constant, default L (Skogestad 2003)"
_LAMBDA = "lambda, closed-loop time constant, default the larger of T and L (common practice)"
_USUAL = (0.1, 1.0)

_TABLE: tuple[Rule, ...] = (
    Rule("Ziegler-Nichols reaction curve P", "P", "first order", _REACTION, True,
         lambda g: Gains(1.0 / g.a, math.inf), ratio=_USUAL, caution=_QUARTER),
    Rule("Ziegler-Nichols reaction curve PI", "PI", "first order",
         f"{_REACTION} (Ti 3.33 L; some texts print 3 L)", True,
         lambda g: Gains(0.9 / g.a, 3.33 * g.L), ratio=_USUAL, caution=_QUARTER),
    Rule("Ziegler-Nichols reaction curve PID", "PID", "first order", _REACTION, True,
         lambda g: Gains(1.2 / g.a, 2.0 * g.L, 0.5 * g.L), ratio=_USUAL, caution=_QUARTER),
    Rule("Ziegler-Nichols ultimate P", "P", "ultimate cycle", _ULTIMATE, False,
         lambda g: Gains(0.5 * g.Ku, math.inf), condition=_SWINGS, caution=_QUARTER),
    Rule("Ziegler-Nichols ultimate PI", "PI", "ultimate cycle", _ULTIMATE, False,
         lambda g: Gains(0.45 * g.Ku, g.Pu / 1.2), condition=_SWINGS, caution=_QUARTER),
    Rule("Ziegler-Nichols ultimate PID", "PID", "ultimate cycle", _ULTIMATE, False,
         lambda g: Gains(0.6 * g.Ku, g.Pu / 2.0, g.Pu / 8.0), condition=_SWINGS, caution=_QUARTER),
    Rule("Tyreus-Luyben PI", "PI", "ultimate cycle", _TYREUS, False,
         lambda g: Gains(g.Ku / 3.2, 2.2 * g.Pu), condition=_SWINGS),
    Rule("Tyreus-Luyben PID", "PID", "ultimate cycle",
         f"{_TYREUS} (first source of the PID row unsure)", False,
         lambda g: Gains(g.Ku / 2.2, 2.2 * g.Pu, g.Pu / 6.3), condition=_SWINGS),
    Rule("Cohen-Coon PI", "PI", "first order", _COHEN, False,
         lambda g: Gains((0.9 + g.r / 12.0) / g.a,
                         g.L * (30.0 + 3.0 * g.r) / (9.0 + 20.0 * g.r)),
         ratio=_USUAL, caution=_QUARTER),
    Rule("Cohen-Coon PID", "PID", "first order",
         f"{_COHEN} (4/3 version; one with 1.35 exists)", False,
         lambda g: Gains((4.0 / 3.0 + g.r / 4.0) / g.a,
                         g.L * (32.0 + 6.0 * g.r) / (13.0 + 8.0 * g.r),
                         4.0 * g.L / (11.0 + 2.0 * g.r)),
         ratio=_USUAL, caution=_QUARTER),
    Rule("Chien-Hrones-Reswick setpoint 0 % PI", "PI", "first order", _CHIEN, True,
         lambda g: Gains(0.35 / g.a, 1.2 * g.T), ratio=_USUAL),
    Rule("Chien-Hrones-Reswick setpoint 20 % PI", "PI", "first order", _CHIEN, True,
         lambda g: Gains(0.6 / g.a, g.T), ratio=_USUAL),
    Rule("Chien-Hrones-Reswick load 0 % PI", "PI", "first order", _CHIEN, True,
         lambda g: Gains(0.6 / g.a, 4.0 * g.L), ratio=_USUAL),
    Rule("Chien-Hrones-Reswick load 20 % PI", "PI", "first order", _CHIEN, True,
         lambda g: Gains(0.7 / g.a, 2.3 * g.L), ratio=_USUAL),
    Rule("IMC PI", "PI", "first order", f"{_IMC} (lambda tuning)", True,
         lambda g: Gains(g.T / (g.K * g.lag(max(g.T, g.L))), g.T), design_time=_LAMBDA),
    Rule("IMC PID", "PID", "first order", f"{_IMC} (lambda tuning, PID)", True,
         lambda g: Gains((2.0 * g.T + g.L) / (g.K * (2.0 * g.lag(max(g.T, g.L)) - g.L)),
                         g.T + 0.5 * g.L, g.T * g.L / (2.0 * g.T + g.L)),
         design_time=_LAMBDA),
    Rule("SIMC PI", "PI", "first order", _SIMC, False,
         lambda g: Gains(g.T / (g.K * g.lag(g.L)), min(g.T, 4.0 * g.lag(g.L))),
         design_time=_TAU),
    Rule("SIMC second order PID", "PID", "second order", _SIMC, True, _simc_pid,
         condition="damping of 1 or more", design_time=_TAU),
    Rule("SIMC integrating PI", "PI", "integrating", _SIMC, True,
         lambda g: Gains(1.0 / (g.K * g.lag(g.L)), 4.0 * g.lag(g.L)), design_time=_TAU),
    Rule("SIMC pure delay I", "I", "first order", _SIMC, True,
         lambda g: Gains.integral_only(1.0 / (g.K * g.lag(g.L))),
         ratio=(10.0, math.inf), condition="nearly a pure dead time", design_time=_TAU),
    Rule("AMIGO PI", "PI", "first order", _AMIGO, False, _amigo_pi),
    Rule("AMIGO PID", "PID", "first order", _AMIGO, False, _amigo_pid),
    Rule("AMIGO integrating PI", "PI", "integrating", _AMIGO, False,
         lambda g: Gains(0.35 / (g.K * g.L), 13.4 * g.L)),
    Rule("ITAE load PI", "PI", "first order", _LOPEZ, False,
         lambda g: Gains(0.859 * g.r**-0.977 / g.K, g.T / (0.674 * g.r**-0.680)), ratio=_USUAL),
    Rule("ITAE setpoint PI", "PI", "first order", _ROVIRA, False,
         lambda g: Gains(0.586 * g.r**-0.916 / g.K, g.T / (1.03 - 0.165 * g.r)), ratio=_USUAL),
    Rule("IMC cancelling PID", "PID", "second order", f"{_IMC} (second order)", True,
         _cancelling_pid, condition="damping below 1", design_time=_TAU,
         caution="fragile: it cancels the swing it was told of, and a natural frequency 10 % off"
         " can make the loop worse or unstable; check it against the whole roll before use, and"
         " note the filter ratio"),
)  # fmt: skip

RULES: dict[str, Rule] = {rule.name: rule for rule in _TABLE}


def suggest(
    models: Iterable[ProcessModel],
    *,
    ultimate: Ultimate | None = None,
    design_time: float | None = None,
    least_dead_time: float = 0.0,
) -> tuple[Suggestion, ...]:
    """Return what every rule gives for the models and the ultimate cycle of one test.

    Args:
        models: models fitted to the test, at most one of each kind [-].
        ultimate: ultimate cycle, for the rules that need it [-].
        design_time: closed-loop time constant for the rules that take one (tau_c, lambda) [s];
            None for each rule's own default.
        least_dead_time: shortest that a model's dead time counts as [s]. A controller that holds
            its output from scan to scan is half a scan late by itself, so half the scan time.

    Returns:
        One suggestion a rule, in the order of `RULES`.

    Raises:
        ValueError: two models of one kind, or a design time that is not 0 s or more.
    """
    if design_time is not None and not (math.isfinite(design_time) and design_time >= 0.0):
        raise ValueError(f"design_time {design_time} s: must be finite and 0 s or more")
    by_kind: dict[str, ProcessModel] = {}
    for model in models:
        if model.kind in by_kind:
            raise ValueError(f"models: two of kind {model.kind!r}, give at most one of each")
        by_kind[model.kind] = replace(model, dead_time=max(model.dead_time, least_dead_time))
    resonance = by_kind.get("second order")
    return tuple(
        _suggestion(rule, by_kind.get(rule.needs), ultimate, design_time, resonance)
        for rule in RULES.values()
    )


def _suggestion(
    rule: Rule,
    model: ProcessModel | None,
    ultimate: Ultimate | None,
    design_time: float | None,
    resonance: ProcessModel | None,
) -> Suggestion:
    if rule.needs == "ultimate cycle":
        if ultimate is None:
            return Suggestion(rule, None, ("needs an ultimate cycle, which was not given",))
        given = Given(Ku=ultimate.gain, Pu=ultimate.period)
    elif model is None:
        article = "an" if rule.needs == "integrating" else "a"
        reason = f"needs {article} {rule.needs} model, which this test did not give"
        return Suggestion(rule, None, (reason,))
    else:
        zeta = math.nan if model.damping is None else float(model.damping)
        K, T, L = float(model.gain), float(model.time_constant), float(model.dead_time)
        given = Given(K=K, T=T, L=L, zeta=zeta, wanted=design_time)
        reason = _missing(rule, given)
        if reason:
            return Suggestion(rule, None, (reason,))
    try:
        gains = rule.function(given)
    except ValueError as fault:
        return Suggestion(rule, None, (f"can't be used here: {fault}",))
    except ZeroDivisionError:
        either = " or a design time" if rule.design_time else ""
        return Suggestion(rule, None, (f"needs a dead time{either} above 0 s",))
    except OverflowError:
        return Suggestion(rule, None, ("can't be used here: the model's times are too far apart",))
    return Suggestion(rule, gains, _warnings(rule, given, gains, resonance))


def _missing(rule: Rule, given: Given) -> str:
    """Return why the model leaves the rule without an answer; empty if it does not."""
    if given.K < 0.0:
        return (
            f"the model's gain is negative ({given.K:.3g}): more output must give more tension;"
            " check the direction of the output and the test"
        )
    if given.T == 0.0 and rule.needs == "first order" and rule.form != "I":
        return "needs a time constant above 0 s"
    return ""


def _warnings(
    rule: Rule, given: Given, gains: Gains, resonance: ProcessModel | None
) -> tuple[str, ...]:
    found = []
    if rule.ratio is not None:
        low, high = rule.ratio
        ratio = given.r if given.T else math.inf
        if not low <= ratio <= high:
            found.append(f"L/T is {ratio:.3g}: the rule is written for {rule.applies}")
    damping = resonance.damping if resonance else None
    # Damping 0.7 is an overshoot of 4.6 %, where a swing begins to show.
    if rule.needs == "first order" and damping is not None and damping < 0.7:
        found.append(
            f"the test shows a swing (damping {damping:.2g}): the rule is written for a lag with"
            " dead time and can be badly wrong here"
        )
    if gains.Td > 0.0:
        try:
            to_series(gains)
        except ValueError:
            found.append("Ti is below 4 Td: a controller of the series form can't hold these gains")
    if gains.note:
        found.append(gains.note)
    if rule.caution:
        found.append(rule.caution)
    return tuple(found)
