"""What every screen shares: the machine at hand, the reader's units, pictures, faults, cautions."""

from __future__ import annotations

import io
import math
import re
from collections.abc import Iterable
from functools import lru_cache
from pathlib import Path

import streamlit as st
from matplotlib.figure import Figure

from simulator import (
    Scenario,
    ScenarioError,
    load_scenario,
    read_scenario,
    scenario_text,
)
from simulator.cautions import ADVICE, CAUTIONS
from simulator.machine import diameter_range
from simulator.reader_units import in_reader_units
from simulator.units import METRIC, UNIT_SYSTEMS, UnitSystem

FOLDER = Path(__file__).resolve().parents[2] / "scenarios"
# The project's own machines, all invented: title → file.
SCENARIOS: dict[str, Path] = {
    load_scenario(path).title: path for path in sorted(FOLDER.glob("*.toml"))
}

_OWN = "as edited or opened here"
_MARKDOWN = re.compile(r"([\\`*_{}\[\]()#+\-.!|$:<>~])")


def current_scenario() -> Scenario:
    """Return the machine at hand; the first invented one until another is chosen."""
    if "scenario" not in st.session_state:
        st.session_state["scenario"] = _invented(next(iter(SCENARIOS)))
    scenario: Scenario = st.session_state["scenario"]
    return scenario


def set_scenario(scenario: Scenario) -> None:
    """Make this the machine at hand, on every screen."""
    st.session_state["scenario"] = scenario


def unit_system() -> UnitSystem:
    """Return the units that the reader chose."""
    name = st.session_state.get("units", METRIC.name)
    return next((units for units in UNIT_SYSTEMS if units.name == name), METRIC)


@lru_cache(maxsize=20)
def _invented(title: str) -> Scenario:
    return load_scenario(SCENARIOS[title])


def sidebar() -> None:
    """Choose, open and save a machine, and choose units."""
    with st.sidebar:
        _choose_machine()
        st.radio("Units", [units.name for units in UNIT_SYSTEMS], key="units", horizontal=True)
        st.file_uploader(
            "Open a scenario file", type=["toml"], key="bench.upload", on_change=_open_upload
        )
        if error := st.session_state.get("bench.faults"):
            show_error(error, lead="The file was not opened; the machine is as before:")
        scenario = current_scenario()
        name = re.sub(r"\W+", "_", scenario.title.lower()).strip("_")[:40] or "machine"
        st.download_button(
            "Save this machine",
            scenario_text(scenario),
            file_name=f"{name}.toml",
            mime="application/toml",
            on_click="ignore",
        )
        st.caption(ADVICE)


def _choose_machine() -> None:
    scenario = current_scenario()
    titles = list(SCENARIOS)
    shown = next((title for title in titles if _invented(title) == scenario), _OWN)
    # The choice follows the machine, also where a screen has changed it.
    st.session_state["bench.machine"] = shown
    options = titles if shown in titles else [_OWN, *titles]
    st.selectbox(
        "Machine", options, key="bench.machine", on_change=_take_invented,
        help="The machines of this list are invented; open a scenario file for your own.",
    )  # fmt: skip


def _take_invented() -> None:
    title = st.session_state["bench.machine"]
    if title in SCENARIOS:
        set_scenario(_invented(title))


def _open_upload() -> None:
    file = st.session_state["bench.upload"]
    st.session_state["bench.faults"] = None
    if file is not None:
        try:
            set_scenario(read_scenario(file.getvalue(), name=file.name))
        except ScenarioError as error:
            st.session_state["bench.faults"] = error


def heading(title: str, answers: str) -> None:
    """Show the screen's name, the question it answers, and the machine at hand.

    Args:
        title: name of the screen.
        answers: the question, in one line.
    """
    st.header(title)
    st.markdown(f"*{answers}*")
    st.caption(plain(current_scenario().title))


def plain(text: str) -> str:
    """Return a text with everything escaped that markdown would take as a sign."""
    return _MARKDOWN.sub(r"\\\1", text).replace("\n", "  \n")


def told(text: str) -> str:
    """Return a result's message for markdown: as a sentence, in the reader's units."""
    return plain(in_reader_units(text[:1].upper() + text[1:], unit_system()))


def show_figure(figure: Figure, *, alt: str) -> None:
    """Show a picture as wide as the page.

    Args:
        figure: to show.
        alt: what the picture shows, for a reader who can't see it.
    """
    show_picture(painted(figure), alt=alt)


def painted(figure: Figure) -> bytes:
    """Return a picture as PNG, for a screen that keeps it.

    Args:
        figure: to paint.
    """
    data = io.BytesIO()
    figure.savefig(data, format="png", dpi=160)
    return data.getvalue()


def show_picture(png: bytes, *, alt: str) -> None:
    """Show a painted picture as wide as the page.

    Args:
        png: as from `painted`.
        alt: what the picture shows, for a reader who can't see it.
    """
    st.image(png, width="stretch", alt=alt)


def show_error(error: Exception, *, lead: str = "") -> None:
    """Show what is wrong: one line for each fault of a scenario, else the message.

    Args:
        error: to show.
        lead: a line above it.
    """
    if isinstance(error, ScenarioError):
        message = "\n".join(f"- {plain(str(fault))}" for fault in error.faults)
    else:
        message = told(str(error))
    st.error(f"{lead}\n\n{message}" if lead else message)


def show_warnings(texts: Iterable[str]) -> None:
    """Show what to watch out for in one box, each thing once; nothing where there is nothing.

    Args:
        texts: warnings of results.
    """
    lines = list(dict.fromkeys(texts))
    if len(lines) == 1:
        st.warning(told(lines[0]))
    elif lines:
        st.warning("\n".join(f"- {told(line)}" for line in lines))


def pick_point(scenario: Scenario, *, key: str) -> tuple[float, float]:
    """Let the reader choose a diameter and a line speed; return them [m, m/s].

    Args:
        scenario: the machine; the diameter lies between core and full roll (a pull roll has no
            choice), the speed between crawl and running speed.
        key: a name that no other screen uses.
    """
    left, right = st.columns(2)
    low, high = diameter_range(scenario)
    run = scenario.run
    with left:
        diameter = pick_value(
            "Roll diameter", "diameter", low=low, high=high, start=high, key=f"{key}.diameter"
        )
    with right:
        speed = pick_value(
            "Line speed", "speed", low=run.crawl_speed, high=run.line_speed, start=run.line_speed,
            key=f"{key}.speed",
        )  # fmt: skip
    return diameter, speed


def pick_value(label: str, kind: str, *, low: float, high: float, start: float, key: str) -> float:
    """Let the reader choose a value between limits with a slider; return it in SI units.

    Args:
        label: what is chosen.
        kind: of quantity, as the unit system names it.
        low: least value, in the SI unit of the kind [any].
        high: largest value, in the SI unit of the kind [any].
        start: value at first, in the SI unit of the kind [any].
        key: a name that no other control uses.
    """
    units = unit_system()
    label = f"{label} [{units.label(kind)}]"
    bottom, top, first = (units.show(value, kind) for value in (low, high, start))
    # Sixteen digits may not tell two nearly equal limits apart in the browser.
    if top - bottom <= 1e-9 * abs(top):
        st.text_input(label, f"{top:.5g}", disabled=True, key=f"{key}.only.{top!r}")
        return high
    step = 10.0 ** math.floor(math.log10((top - bottom) / 100.0))
    digits = max(0, -math.floor(math.log10(step)))
    # A browser counts whole steps: limits between two steps would be out of its reach, and what
    # it then sends is taken for the start. So limits go outward to whole steps, the value back.
    least = round(math.floor(bottom / step + 1e-9) * step, digits)
    most = round(math.ceil(top / step - 1e-9) * step, digits)
    shown = most if first >= top else round(round(first / step) * step, digits)
    shown = min(max(shown, least), most)
    # Other limits make another control, so that no value is left over from another machine.
    chosen = st.slider(
        label, least, most, shown, step, f"%.{digits}f",
        key=f"{key}.{bottom!r}.{top!r}",
        persist_state="session",
    )  # fmt: skip
    return start if chosen == shown else min(max(chosen / units.factor(kind), low), high)


# Decimals that an entry in a unit has.
_DECIMALS = {"mm": 1, "in": 3, "N": 1, "lbf": 2, "kg": 2, "lb": 2, "°C": 0, "°F": 0}


def enter_value(
    label: str,
    kind: str,
    *,
    start: float,
    low: float,
    high: float,
    key: str,
    help: str | None = None,  # as Streamlit calls it
) -> float:
    """Let the reader type a value; return it in SI units.

    It outlives a change of units and of screen, without rounding, until its start changes.

    Args:
        label: what is typed.
        kind: of quantity, as the unit system names it.
        start: value at first, in the SI unit of the kind [any].
        low: least value, in the SI unit of the kind [any].
        high: largest value, in the SI unit of the kind [any].
        key: a name that no other control uses.
        help: a line more about it.
    """
    units = unit_system()
    unit = units.label(kind)
    first, kept = st.session_state.get(f"{key}.kept", (None, start))
    if first != start:
        kept = start
    digits = _DECIMALS.get(unit, 2)
    bottom, top = (round(units.show(value, kind), digits) for value in (low, high))
    shown = min(max(round(units.show(kept, kind), digits), bottom), top)
    chosen = st.number_input(
        f"{label} [{unit}]", bottom, top, shown, 10.0**-digits, f"%.{digits}f",
        key=f"{key}.{unit}.{start!r}", help=help,
    )  # fmt: skip
    # A browser's limits are not to be trusted.
    value = kept if chosen == shown else min(max(chosen / units.factor(kind), low), high)
    st.session_state[f"{key}.kept"] = (start, value)
    return float(value)


def caution() -> None:
    """Show the usual cautions for work at a web machine."""
    with st.expander("Before you go to the machine"):
        st.markdown("\n".join(f"- {line}" for line in CAUTIONS) + f"\n\n{ADVICE}")
