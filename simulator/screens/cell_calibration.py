"""View of the screen Load cell: zero and calibration, before the machine and at it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import streamlit as st

from simulator import Scenario
from simulator.calibration import GRAVITY_NOTE, CalibrationPlan, calibration_plan
from simulator.calibration_check import (
    CalibrationCheck,
    Kind,
    check_calibration,
    usual_reading_error,
)
from simulator.calibration_figure import draw_calibration
from simulator.mounting import MOUNTING_CAUTIONS
from simulator.rope_path import Strand, off_path_error, strand_directions
from simulator.screens import bench
from simulator.shaft_growth import MATERIALS, shaft_growth, side_force_reading
from simulator.units import UnitSystem, sensible
from simulator.zero_causes import SMALL_TESTS, rank_zero_causes

_SETTINGS = "cell.calibration.settings"
_KINDS: dict[str, Kind] = {"a display of tension": "display", "the cells' own signal": "signal"}
_READINGS = ("Nothing on the roller", "With the weight", "Weight off again")
_STRANDS: dict[str, Strand] = {"the left strand": "left", "the right strand": "right"}
_ANSWERS = {"not tried": None, "yes": True, "no": False}


@dataclass(frozen=True)
class _Settings:
    """What the reader chose, kept while another view is open."""

    kind: Kind = "display"
    mass: float | None = None
    # The machine for which the mass was given.
    machine: str = ""


def planned(scenario: Scenario, units: UnitSystem) -> CalibrationPlan:
    """Return which weight to hang and what to read, with what the reader chose.

    Args:
        scenario: the machine at hand.
        units: the reader's units.
    """
    return _plan(scenario, units, st.session_state.get(_SETTINGS, _Settings()))


def _plan(scenario: Scenario, units: UnitSystem, chosen: _Settings) -> CalibrationPlan:
    fits = chosen.machine == scenario.title
    return calibration_plan(
        scenario,
        display=chosen.kind == "display",
        mass=chosen.mass if fits else None,
        handy_unit=1.0 / units.factor("mass"),
    )


def view(scenario: Scenario, units: UnitSystem) -> None:
    """Show the view.

    Args:
        scenario: the machine at hand.
        units: the reader's units.
    """
    left, right = st.columns(2, vertical_alignment="bottom")
    name = left.radio(
        "What is read", list(_KINDS), key="cell.calibration.kind", persist_state="session",
        horizontal=True,
    )  # fmt: skip
    kind = _KINDS[name]
    before: _Settings = st.session_state.get(_SETTINGS, _Settings())
    # The same weight for both kinds of reading, in any units, once it was chosen.
    handy = _plan(scenario, units, replace(before, kind="display")).mass
    if handy == 0.0:
        right.markdown("No weight may be hung on these cells: the roller alone is too much.")
        return
    with right:
        mass = bench.enter_value(
            "Known weight", "mass", start=handy, low=0.01, high=1e5, key="cell.calibration.mass",
            help="At first a handy one that is large enough. Take the one that you have.",
        )  # fmt: skip
    chosen = replace(before, kind=kind)
    if mass != handy:
        chosen = _Settings(kind, mass, scenario.title)
    st.session_state[_SETTINGS] = chosen
    plan = _plan(scenario, units, _Settings(kind, mass, scenario.title))
    picture = st.container()
    check = _enter_readings(scenario, plan, kind, units)
    with picture:
        _show_picture(plan, check, units)
    if check is not None:
        _show_check(check, units)
    _show_expected(plan, units)
    _show_rope(scenario)
    _show_heat(scenario, units)


def _show_picture(plan: CalibrationPlan, check: CalibrationCheck | None, units: UnitSystem) -> None:
    alt = (
        f"What is to be read over tension: nothing on the roller 0, the weight "
        f"{units.text(plan.force, 'tension')}."
    )
    if check is not None:
        alt = f"Readings as found beside those that should be. {check.headline}"
    bench.show_figure(draw_calibration(check or plan, units=units), alt=alt)


def _enter_readings(
    scenario: Scenario, plan: CalibrationPlan, kind: Kind, units: UnitSystem
) -> CalibrationCheck | None:
    """Take the readings at the machine; None until all three are there."""
    st.subheader("At the machine")
    st.markdown(
        "Turn the roller a few turns by hand, then read: with nothing on it; with the weight on a "
        "rope in the middle of the width; with the weight off again. Where the reading flickers, "
        "take its mean."
    )
    st.markdown(bench.told(f"{plan.rope_advice}."))
    st.warning("\n".join(f"- {bench.plain(line)}" for line in MOUNTING_CAUTIONS))
    unit = units.label("tension") if kind == "display" else "mV"
    factor = units.factor("tension") if kind == "display" else 1.0
    found = [
        column.number_input(
            f"{name} [{unit}]", -1e9, 1e9, None, format="%.4g",
            key=f"cell.calibration.{scenario.title}.{kind}.{name}.{unit}", persist_state="session",
        )
        for column, name in zip(st.columns(3), _READINGS, strict=True)
    ]  # fmt: skip
    usual = usual_reading_error(scenario, kind) * factor
    good = st.number_input(
        f"Each reading is good to ± [{unit}]", 0.0, 1e9, float(f"{usual:.1g}"), format="%.4g",
        key=f"cell.calibration.good.{kind}.{unit}.{usual:.3g}", persist_state="session",
        help="Half of the display's last digit, or of the flicker that is left in the mean. What "
        "can't be decided from such readings is not called right.",
    )  # fmt: skip
    apart = _enter_sides(scenario)
    if any(value is None for value in found):
        st.caption("Enter all three readings to see whether zero and gain are right.")
        return None
    empty, loaded, after = (float(value) / factor for value in found if value is not None)
    left, right = apart if apart else (None, None)
    try:
        return check_calibration(
            scenario, mass=plan.mass, empty=empty, loaded=loaded, after=after, kind=kind,
            left=left, right=right, reading_error=good / factor,
        )  # fmt: skip
    except ValueError as error:
        bench.show_error(error)
        return None


def _enter_sides(scenario: Scenario) -> tuple[tuple[float, float], tuple[float, float]] | None:
    """Take the readings of left and right cell; None unless all four are there."""
    with st.expander("Left and right cell read apart (optional)"):
        st.caption("Any unit, the same for both. The rope hangs in the middle of the width.")
        names = ("Left, nothing", "Left, weight", "Right, nothing", "Right, weight")
        found = [
            column.number_input(
                name, -1e9, 1e9, None, format="%.4g",
                key=f"cell.calibration.{scenario.title}.sides.{name}",
                persist_state="session",
            )
            for column, name in zip(st.columns(4), names, strict=True)
        ]  # fmt: skip
    given = [float(value) for value in found if value is not None]
    if len(given) < 4:
        return None
    return (given[0], given[1]), (given[2], given[3])


def _show_check(check: CalibrationCheck, units: UnitSystem) -> None:
    show = st.success if check.passed else st.error
    show(bench.told(check.headline))
    gain, zero, back = st.columns(3)
    gain.metric(
        "Gain is off by", _per_cent(check.gain_error), check.gain_verdict, delta_color="off",
        delta_arrow="off",
    )  # fmt: skip
    zero.metric(
        "Zero is off by", _reading(check.zero_error, check, units), check.zero_verdict,
        delta_color="off", delta_arrow="off",
    )  # fmt: skip
    back.metric(
        "Stays after the weight", units.text(check.residual_tension, "tension"),
        check.return_verdict, delta_color="off", delta_arrow="off",
        help=f"{_per_cent(check.residual_share)} of the measured scale",
    )  # fmt: skip
    if check.sides and check.sides_agree:
        st.markdown(bench.told(f"{check.sides}."))
    bench.show_warnings(check.warnings)
    st.markdown("**What to do, in this order**")
    st.markdown("\n".join(f"1. {bench.told(step)}" for step in check.next_steps))
    if check.reasons and check.sides_agree is not False:
        st.markdown("**What would make this gain**, the closest first")
        st.markdown("\n".join(f"- {bench.told(reason)}" for reason in check.reasons))
    if check.return_verdict == "wrong":
        _show_causes()


def _per_cent(value: float) -> str:
    return f"{value:+.0f} %" if abs(value) >= 100.0 else f"{value:+.2g} %"


def _reading(value: float, check: CalibrationCheck, units: UnitSystem) -> str:
    if check.kind == "display":
        return units.text(value, "tension")
    return f"{sensible(value)} mV"


def _show_causes() -> None:
    st.markdown("**Why the zero does not return**: small tests that tell causes apart")
    answers = {}
    for key, test in SMALL_TESTS.items():
        words, choice = st.columns((3, 2), vertical_alignment="center")
        words.markdown(bench.plain(test.question))
        answer = choice.radio(
            test.question, list(_ANSWERS), horizontal=True, label_visibility="collapsed",
            key=f"cell.causes.{key}", persist_state="session",
        )  # fmt: skip
        if _ANSWERS[answer] is not None:
            answers[key] = bool(_ANSWERS[answer])
    for number, ranked in enumerate(rank_zero_causes(answers), start=1):
        speaks = [f"for it: {text}" for text in ranked.evidence_for]
        speaks += [f"against it: {text}" for text in ranked.evidence_against]
        st.markdown(
            bench.plain(f"{number}. ")
            + f"**{bench.plain(ranked.cause.name)}** ({bench.plain(ranked.words)}). "
            + bench.plain(f"{ranked.cause.why} Check: {ranked.cause.check}")
            + (f" *{bench.plain('; '.join(speaks))}.*" if speaks else "")
        )
    st.caption("The order is common practice and proves nothing; only the check does.")


def _show_expected(plan: CalibrationPlan, units: UnitSystem) -> None:
    st.markdown("**What is to be read, if all is right**")
    unit = units.label("tension")

    def force(value: float) -> str:
        return sensible(units.show(value, "tension"))

    st.table(
        [
            {
                "State": state.name,
                f"Tension [{unit}]": force(state.tension),
                f"Load on each cell [{unit}]": force(state.load_each),
                "Signal of each cell [mV]": sensible(state.signal),
                "Added up [mV]": sensible(state.signal_summed),
                f"Display [{unit}]": force(state.reading),
                "Of the scale [%]": sensible(state.reading_share),
            }
            for state in plan.expected
        ],
        hide_index=True,
        alt="Loads, signals and display in each state of a calibration",
    )
    st.caption(
        bench.plain(
            "Cells wired in parallel show the mean of their signals; an amplifier may add them up. "
            "Signals count in the sense of the web's pull: cells that face against it show them "
            f"with the other sign. A cell's own zero comes on top. {GRAVITY_NOTE}"
        )
    )


def _show_rope(scenario: Scenario) -> None:
    with st.expander("What a rope off the web's path does"):
        cell = scenario.load_cell
        web = dict(zip(_STRANDS, strand_directions(cell), strict=True))
        left, middle, right = st.columns(3, vertical_alignment="bottom")
        name = left.radio(
            "The hanging end stands for", list(_STRANDS), key="cell.rope.strand",
            persist_state="session",
            help="Looking along the web's pull on the roller, which of its two strands.",
        )  # fmt: skip
        along = math.degrees(math.remainder(web[name], 2.0 * math.pi))
        degrees = middle.number_input(
            "It leaves the roller at [°]", -360.0, 360.0, -90.0, 5.0, key="cell.rope.direction",
            persist_state="session", help="0 to the right, 90 up, -90 straight down.",
        )  # fmt: skip
        error = off_path_error(cell, _STRANDS[name], direction=math.radians(degrees))
        shown = "no use" if math.isnan(error) else f"{error:+.3g} %"
        right.metric("All tensions then read by", shown)
        words = "There it would not load the cells as the web does." if math.isnan(error) else ""
        st.caption(
            bench.plain(
                f"The web leaves at {along:.4g}°; led there, the rope sets it right. {words}"
            )
        )


def _rough(force: float, units: UnitSystem) -> str:
    """To two digits: bounds are not known better."""
    value = float(f"{units.show(force, 'tension'):.2g}")
    return f"{sensible(value, 2)} {units.label('tension')}"


def _show_heat(scenario: Scenario, units: UnitSystem) -> None:
    with st.expander("What heat does where both bearings are fixed"):
        width = scenario.web.width
        first, second = st.columns(3), st.columns(3)
        material = first[0].selectbox(
            "Shaft of", list(MATERIALS), key="cell.heat.material", persist_state="session"
        )
        with first[1]:
            length = bench.enter_value(
                "Between the bearings", "diameter", start=round(1.2 * width, 3), low=0.01,
                high=50.0, key="cell.heat.length",
            )  # fmt: skip
        with first[2]:
            diameter = bench.enter_value(
                "Shaft diameter", "diameter",
                start=round(0.5 * scenario.cell_roller.diameter, 3), low=1e-3, high=5.0,
                key="cell.heat.diameter",
            )  # fmt: skip
        with second[0]:
            warmer = bench.enter_value(
                "Warmer than the frame by", "temperature rise", start=20.0, low=0.0, high=300.0,
                key="cell.heat.warmer",
            )  # fmt: skip
        tilt = second[1].number_input(
            "Cells off square to the shaft [°]", 0.0, 45.0, 1.0, 0.5, key="cell.heat.tilt",
            persist_state="session",
        )  # fmt: skip
        try:
            found = shaft_growth(
                length=length, warmer_by=warmer, material=material, diameter=diameter
            )
        except ValueError as error:
            bench.show_error(error)
            return
        moved = side_force_reading(scenario.load_cell, found.push, tilt=math.radians(tilt))
        grows, pushes, reads = st.columns(3)
        grows.metric("The shaft grows by", f"{units.show(found.growth, 'diameter'):.3g} "
                     f"{units.label('diameter')}")  # fmt: skip
        pushes.metric("and pushes each end with up to", _rough(found.push, units))
        reads.metric("which may read as tension", _rough(moved, units))
        bench.show_warnings(found.warnings)
        st.caption(
            bench.plain(
                f"Coefficients: {MATERIALS[material].source}. Let one bearing float by more than "
                "the shaft grows, and none of this happens."
            )
        )
