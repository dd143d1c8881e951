"""Screen: why the tension of a running machine swings, and what to check first."""

from __future__ import annotations

import math
from collections.abc import Hashable
from dataclasses import dataclass

import streamlit as st

from simulator import Scenario, Trend
from simulator.screens import bench
from simulator.trend_coarse_stamps import seconds_text
from simulator.units import UnitSystem, sensible
from tuning.oscillation.causes import (
    CANNOT_TELL,
    LOOP,
    MOVES,
    NONE,
    PICKUP,
    RINGING,
    ROLL,
    ROLLER,
    STICKING,
)
from tuning.oscillation.explain import Explanation
from tuning.oscillation.remedy import LoopRemedy
from tuning.oscillation.remedy_figure import draw_remedy, draw_remedy_alt
from tuning.screens import answers, oscillation_answers, trend_upload
from tuning.screens import oscillation_view as view
from tuning.tables import gains_in_words

INVENTED, RECORDED = "an invented record", "a recorded trend"
# What is put into an invented machine, by the cause that should be found.
TROUBLES = {
    ROLL: "a roll out of round",
    ROLLER: "a roller or nip out of round",
    LOOP: "gains too high",
    RINGING: "a roll that is knocked and rings on the web",
    STICKING: "a brake whose supply sticks",
    MOVES: "a line speed that swings",
    PICKUP: "mains hum in the recorder's wire",
    NONE: "nothing: a quiet machine",
}
_NEXT = {
    LOOP: "take gains from *Full roll to core*, try them in *Handover*, then record again.",
    NONE: "nothing to mend; keep this record to compare with, should it swing one day.",
    CANNOT_TELL: "make the recording that would tell, and bring it here.",
}


@dataclass(frozen=True, eq=False)
class _Record:
    """What is to be explained, and what stands for it in a cache."""

    trend: Trend
    key: Hashable
    scenario: Scenario | None
    diameter: float | None = None
    line_speed: float | None = None


def page() -> None:
    """Show the screen."""
    # Without the line that names the machine: not every record is from there.
    st.header("Oscillation")
    st.markdown("*Why does the tension swing, and what do I check first?*")
    left, right = st.columns([3, 2], vertical_alignment="bottom")
    source = left.radio(
        "Look at", [INVENTED, RECORDED], horizontal=True, key="oscillation.source",
        persist_state="session",
    )  # fmt: skip
    used = right.toggle(
        "Use the machine at hand", source == INVENTED, key=f"oscillation.used.{source}",
        persist_state="session",
        help=f"It is: {bench.plain(bench.current_scenario().title)}. With a description all of a "
        "machine's own frequencies are known. Use it only if the record is from that machine: "
        "another one misleads. Choose or open one at the left.",
    )  # fmt: skip
    scenario = bench.current_scenario() if used else None
    try:
        record = _invented(scenario) if source == INVENTED else _recorded(scenario)
        if record is not None:
            _explain(record)
    except ValueError as error:
        bench.show_error(error)
    bench.caution()


def _invented(scenario: Scenario | None) -> _Record:
    machine = bench.current_scenario()
    left, right = st.columns([3, 1])
    trouble = left.selectbox(
        "The trouble in it", oscillation_answers.troubles(machine),
        format_func=TROUBLES.__getitem__, key="oscillation.trouble", persist_state="session",
    )  # fmt: skip
    seed = int(
        right.number_input(
            "Which record", 1, 1_000_000, 1, 1, key="oscillation.seed", persist_state="session",
            help="Another number, another noise.",
        )
    )  # fmt: skip
    trend, gains = oscillation_answers.invented(machine, trouble, seed)
    st.caption(
        bench.plain(
            "Invented: the machine at hand as good as new but for this trouble, simulated and "
            f"logged every {seconds_text(float(f'{trend.time[1]:.3g}'))}, with "
            f"{gains_in_words(gains)}. The explanation below sees nothing but the record"
            + (", the machine and those gains." if scenario is not None else ".")
        )
    )
    # In a plant one would read the gains off the controller.
    known = None if scenario is None else gains.set_in(scenario)
    return _Record(trend, ("invented", machine, trouble, seed), known)


def _recorded(scenario: Scenario | None) -> _Record | None:
    found = trend_upload.recorded(scenario)
    if found is None:
        return None
    diameter, line_speed = trend_upload.typed_place(found, scenario)
    return _Record(found.trend, found.key, scenario, diameter, line_speed)


def _explain(record: _Record) -> None:
    units = bench.unit_system()
    place = (record.scenario, record.diameter, record.line_speed)
    explanation = oscillation_answers.explained(record.key, *place, record.trend)
    key = (record.key, *place)
    view.show_answer(explanation, key, units)
    view.show_reasons(explanation, units)
    view.show_help(explanation)
    if explanation.verdict == LOOP:
        _offer_gains(record, explanation, key, units)
    view.show_health(explanation)
    view.offer_download(explanation)
    what = _NEXT.get(
        explanation.verdict,
        "check that first; once it is mended, record again and compare.",
    )
    st.markdown(f"**Next:** {what}")


def _offer_gains(
    record: _Record, explanation: Explanation, key: Hashable, units: UnitSystem
) -> None:
    st.subheader("Gains that hold")
    if record.scenario is None:
        st.info(
            "With a description of the machine, gains that hold from full roll to core can be "
            "worked out here: turn on *Use the machine at hand* where it is that machine."
        )
        return
    # Working them out takes some seconds, so it waits to be asked for.
    if not st.toggle(
        "Work out gains for the whole roll, and simulate before and after",
        key="oscillation.remedy", persist_state="session",
    ):  # fmt: skip
        return
    found = explanation.findings
    if found.loop is None or found.loop.gains is None or not found.where:
        st.info(
            "No gains can be offered, as those at work are not known: write them into the machine, "
            "or record in automatic with output and setpoint."
        )
        return
    # Of the machine at hand, as the gains at work make no difference to it: worked out once.
    design = oscillation_answers.designed(
        bench.current_scenario(), answers.chosen_ms_limit(), answers.chosen_kinds()
    )
    if isinstance(design, str):
        st.info(f"No gains can be offered: {bench.plain(design)}.")
        return
    remedy = oscillation_answers.remedied(key, design, explanation)
    if remedy is not None:
        _show_remedy(remedy, units)


def _show_remedy(remedy: LoopRemedy, units: UnitSystem) -> None:
    where = units.plain(remedy.diameter, "diameter")
    speed = units.plain(remedy.line_speed, "speed")
    before, after = remedy.margins_before, remedy.margins_after
    rows = {
        "": ["at work", "for the whole roll"],
        "gains": [gains_in_words(remedy.before), gains_in_words(remedy.after)],
        "Ms here": [
            f"{one.Ms:.2f}" if one.stable else "swings by itself" for one in (before, after)
        ],
        f"swing [{units.label('tension')} rms]": [
            sensible(units.show(one, "tension"), 2) if math.isfinite(one) else "–"
            for one in (remedy.swing_before, remedy.swing_after)
        ],
    }
    st.dataframe(rows, hide_index=True, height="content", alt="Gains before and after")
    st.caption(
        bench.plain(f"Simulated at {where} and {speed}, everything round, nothing sticks. ")
        + view.help_with("Ms")
    )
    bench.show_figure(draw_remedy(remedy, units), alt=draw_remedy_alt(remedy, units))
