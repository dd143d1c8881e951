"""Screen: the switch from manual to automatic."""

from __future__ import annotations

import math

import streamlit as st

from simulator import Scenario
from simulator.scenario_checks import hunting
from simulator.screens import bench
from simulator.units import UnitSystem, sensible
from tuning.figures import draw_handover
from tuning.gains import Gains
from tuning.gains_as_set import gains_as_set
from tuning.handover import Handover
from tuning.handover_judged import (
    CALM_BUMP,
    CALM_JUMP,
    OUTPUT_CHANGED,
    SPEED_CHANGES,
    STEADY,
    Moves,
)
from tuning.handover_words import jump_in_words
from tuning.screens import answers, handover_conditions_view
from tuning.tables import gains_in_words

RECOMMENDED, AS_FOUND, OWN = "recommended for the whole roll", "as found", "own"
# Limits of the form: what a controller in the trade takes, and a little more.
LEAST_GAIN, MOST_GAIN = 0.0001, 100.0
LEAST_TIME, MOST_TIME = 0.001, 10_000.0
# Nobody sees in less whether a tension stays [s].
LEAST_WATCHED = 5.0
MOVES: dict[str, Moves] = {
    "stands still": STEADY,
    "moves: the output was just changed": OUTPUT_CHANGED,
    "moves: the line changes speed": SPEED_CHANGES,
}


def page() -> None:
    """Show the screen."""
    bench.heading("Handover", "What happens at the switch from manual to automatic?")
    scenario, units = bench.current_scenario(), bench.unit_system()
    try:
        chosen = _pick_gains(scenario)
        diameter, line_speed = bench.pick_point(scenario, key="handover")
        gains = chosen or gains_as_set(scenario, diameter)
        offset = st.slider(
            "Setpoint at the switch, above (+) or below (−) the reading [%]", -30, 30, 5, 1,
            key="handover.offset",
        )  # fmt: skip
        moves = _pick_moves(scenario)
        tracking, follows, noise = _pick_options(scenario)
        st.caption(bench.plain(f"Gains: {gains_in_words(gains)}"))
        h = answers.switched(
            scenario, gains, diameter=diameter, line_speed=line_speed,
            setpoint_offset=0.01 * offset, tracking=tracking, setpoint_follows=follows,
            noise=noise, moves=moves,
        )  # fmt: skip
        _numbers(h, scenario, units, moves=moves)
        told = _advice(h, offset=0 if follows else offset, tracking=tracking, moves=moves)
        st.markdown(f"**Next:** {told}")
        handover_conditions_view.when_to_switch(scenario, chosen)
        handover_conditions_view.view(
            scenario, units, gains=chosen, here=gains, diameter=diameter, line_speed=line_speed
        )
        _show(h, scenario, units)
    except ValueError as error:
        bench.show_error(error)
    bench.caution()


def _pick_gains(scenario: Scenario) -> Gains | None:
    """Let the reader choose gains; None stands for those as found, which may follow the roll."""
    c = scenario.controller
    has_own = c.Kc is not None or bool(c.schedule)
    options = [RECOMMENDED, *([AS_FOUND] if has_own else []), OWN]
    source = st.radio("Gains", options, horizontal=True, key=f"handover.gains.{has_own}")
    if source == AS_FOUND:
        return None
    if source == RECOMMENDED:
        return _recommended(scenario)
    try:
        recommended = _recommended(scenario)
    except ValueError:
        # A machine that no gains suit may still be tried with one's own.
        recommended = Gains(Kc=LEAST_GAIN, Ti=1.0)
    with st.form("handover.own"):
        left, middle, right, last = st.columns(4, vertical_alignment="bottom")
        Kc = left.number_input(
            "Kc [% of output per % of range]", LEAST_GAIN, MOST_GAIN,
            min(max(recommended.Kc, LEAST_GAIN), MOST_GAIN),
            format="%.4f", key=f"handover.Kc.{recommended.Kc!r}",
        )  # fmt: skip
        Ti = middle.number_input(
            "Ti [s]", LEAST_TIME, MOST_TIME, min(max(recommended.Ti, LEAST_TIME), MOST_TIME),
            format="%.3f", key=f"handover.Ti.{recommended.Ti!r}",
        )  # fmt: skip
        Td = right.number_input(
            "Td [s]", 0.0, MOST_TIME, min(recommended.Td, MOST_TIME), format="%.3f",
            key=f"handover.Td.{recommended.Td!r}",
        )  # fmt: skip
        last.form_submit_button("Use these")
    return Gains(Kc=Kc, Ti=Ti, Td=Td)


def _recommended(scenario: Scenario) -> Gains:
    limit, kinds = answers.chosen_ms_limit(), answers.chosen_kinds()
    return answers.design(scenario, ms_limit=limit, kinds=kinds).gains


def _pick_moves(scenario: Scenario) -> Moves:
    run = scenario.run
    names = list(MOVES)
    if run.crawl_speed == run.line_speed:
        names.remove("moves: the line changes speed")
    chosen = st.radio(
        "The tension at the switch", names, horizontal=True, key=f"handover.moves.{len(names)}",
        help="The output just changed is worth a tenth of the tension; the line goes from running "
        "to crawl speed, or from below to running speed, at its usual rate. The switch is made "
        "where the reading moves fastest.",
    )  # fmt: skip
    return MOVES[chosen]


def _pick_options(scenario: Scenario) -> tuple[bool, bool, bool]:
    left, middle, right = st.columns(3)
    tracking = left.checkbox(
        "Integral tracks", scenario.controller.tracking, key="handover.tracking",
        help="In manual the integral term follows the output, so that automatic starts from it.",
    )  # fmt: skip
    follows = middle.checkbox(
        "Setpoint follows", scenario.controller.setpoint_follows,
        key="handover.follows",
        help="In manual the setpoint is the reading; the offset above then has no effect.",
    )  # fmt: skip
    noise = right.checkbox(
        "Noise and runout",
        False,
        key="handover.noise",
        help="The roll's own swing then counts in the bump and keeps the tension from settling.",
    )
    return tracking, follows, noise


def _settled(h: Handover) -> str:
    if math.isnan(h.settling):
        return "not in this time"
    return f"{sensible(h.settling, 2)} s" if h.settling > 0.0 else "at once"


def _show(h: Handover, scenario: Scenario, units: UnitSystem) -> None:
    st.subheader("This switch")
    bench.show_figure(
        draw_handover(h, scenario, units),
        alt=f"Tension and output around the switch; bump {h.tension_bump:.1f} % of tension, "
        f"jump {jump_in_words(h.output_bump)} of output, settled: {_settled(h)}.",
    )
    if not _lost(h):
        st.subheader("The hand-over in order")
        st.markdown(_steps(h))


def _numbers(h: Handover, scenario: Scenario, units: UnitSystem, *, moves: Moves) -> None:
    bump = units.text(0.01 * h.tension_bump * scenario.run.tension, "tension", digits=2)
    left, middle, right = st.columns(3)
    left.metric("Bump in tension", f"{h.tension_bump:.1f} %")
    alone = "" if moves == STEADY else " and what it would have done in manual"
    left.caption(bench.plain(f"{bump}, beyond what the new setpoint asks for{alone}"))
    middle.metric("Jump of the output", jump_in_words(h.output_bump))
    middle.caption("at the first scan in automatic")
    right.metric("Settled", _settled(h))
    right.caption("from the switch until within 2 % of running tension about the setpoint")
    bench.show_warnings(h.warnings)


def _lost(h: Handover) -> bool:
    """Whether there is no tension to hand over."""
    return bool(h.trend.web_lost) or any("can't be held here" in text for text in h.warnings)


def _steps(h: Handover) -> str:
    # With the output that stood before anything was done.
    output = h.trend.output[0]
    wait = f"for at least {float(sensible(max(h.settling, LEAST_WATCHED), 2)):g} s"
    if math.isnan(h.settling):
        wait = "until it stands still"
    return (
        f"1. In manual, bring the output to {output:.1f} % and wait until the tension is steady.\n"
        "2. Compare the reading with the tension you expect; a wrong reading becomes a wrong "
        "tension in automatic.\n"
        "3. Set the setpoint to the reading, or see that it follows.\n"
        "4. Check that the gains in the controller are the ones you mean.\n"
        "5. Switch to automatic with a hand on manual, and watch the output: it must not jump.\n"
        f"6. Watch the tension {wait}. If it swings and the swing grows, go back to manual.\n"
        "7. Only then change the setpoint, in small steps, to the tension you want."
    )


def _advice(h: Handover, *, offset: int, tracking: bool, moves: Moves) -> str:
    if any("unstable" in warning for warning in h.warnings):
        return "stay in manual; take gains from *Full roll to core*."
    if not tracking and abs(h.output_bump) > CALM_JUMP:
        return (
            "let the integral term track the output in manual, or set the output by hand to where "
            "automatic would put it: without it the output jumps at the switch."
        )
    if _lost(h):
        return "mend that first; there is no tension here to hand over."
    if moves != STEADY:
        return "wait until the tension stands still, then set the setpoint to it, then switch."
    if abs(h.output_bump) > CALM_JUMP and offset:
        return "bring the setpoint to the reading before you switch: the jump comes from the gap."
    if math.isnan(h.settling) and hunting(bench.current_scenario()):
        return "mend what sticks first: no gains make this tension stand still."
    if h.tension_bump > CALM_BUMP:
        return "a bump is left: lower the gains, or look at *Full roll to core* for calmer ones."
    if offset:
        return (
            "the loop takes the tension to the new setpoint; to see the switch alone, set the "
            "setpoint to the reading."
        )
    return "the switch is calm; try it at core and at crawl speed, then with noise."
