"""The operator's readings as HTML, large enough to read from two metres, in places that stay.

Every number has the decimals and the room of the largest value that it may show, in figures of one
width, so that nothing moves when digits or signs change.
"""

from __future__ import annotations

import html
import math

from simulator.figure_style import BLUE, GREEN, ORANGE, VERMILION
from simulator.scenario import Scenario
from simulator.units import METRIC, UnitSystem
from tuning.practice.panel import Panel

# How far the tension may be off unless a drill says otherwise [share of wanted, -]; the bar shows
# so many times that to either side [-].
ON_TARGET, BAR = 0.1, 2.5
# From this difference on automatic would give another output than it is [%].
OTHER = 1.0

STYLE = (
    ".panel-live{display:flex;flex-wrap:wrap;gap:2px 18px;font-family:'Source Sans',sans-serif;"
    "font-variant-numeric:tabular-nums lining-nums;line-height:1.05}"
    ".panel-live .rest{flex:1 1 320px;display:grid;grid-template-columns:repeat(3,minmax(0,1fr));"
    "gap:2px 10px}"
    ".panel-live .name{font-size:14px;white-space:nowrap}"
    ".panel-live .value{white-space:nowrap;font-weight:600;font-size:30px}"
    ".panel-live .tension{width:190px}"
    ".panel-live .tension .value{font-size:54px}"
    ".panel-live .number{display:inline-block;text-align:right}"
    ".panel-live .unit{font-size:16px;font-weight:400;padding-left:4px}"
    ".panel-live .bar{position:relative;height:12px;margin-top:3px;border:1px solid currentColor;"
    "box-sizing:border-box}"
    ".panel-live .bar i{position:absolute;top:0;bottom:0}"
    ".panel-live .target{background:rgba(0,158,115,.3)}"
    ".panel-live .mark{width:1px;background:currentColor}"
    ".panel-live .middle{width:3px;margin-left:-1px;background:currentColor}"
    ".panel-live .needle{width:8px;margin-left:-4px;border:1px solid currentColor;"
    "box-sizing:border-box}"
    ".panel-live .verdict{display:flex;justify-content:space-between;font-size:15px;"
    "font-weight:600;white-space:nowrap;height:19px;padding-top:2px}"
    ".panel-live .aim{font-weight:400}"
    ".panel-live .dot{display:inline-block;width:13px;height:13px;margin-right:6px}"
)


def readings_html(panel: Panel, scenario: Scenario, *, units: UnitSystem = METRIC) -> str:
    """Return tension, setpoint, output, line speed, diameter, mode and web as HTML.

    It is one line of text; `STYLE` goes with it once on a page.

    Args:
        panel: what there is to read.
        scenario: the machine.
        units: the reader's units.
    """
    force, speed = units.label("tension"), units.label("speed")
    scale = units.show(scenario.controller.tension_range, "tension")
    top = units.show(max(scenario.run.line_speed, scenario.run.crawl_speed), "speed")
    cells = [
        _reading("Setpoint", units.show(panel.setpoint, "tension"), scale, force),
        _reading("Output", panel.output, 99.9, "%"),
        _mode(panel.automatic),
        _reading("Line speed", units.show(panel.line_speed, "speed"), top, speed),
        _automatic(panel),
        _web(panel),
    ]
    tension = _reading("Tension", units.show(panel.reading, "tension"), scale, force, signed=True)
    return (
        f'<div class="panel-live"><div class="tension">{tension}'
        f"{deviation_bar(panel.reading, panel.wanted, band=panel.band, units=units)}</div>"
        f'<div class="rest">{"".join(cells)}</div></div>'
    )


def deviation_bar(
    reading: float, wanted: float, *, band: float = ON_TARGET, units: UnitSystem = METRIC
) -> str:
    """Return a bar that shows how far a reading is from the wanted tension, with a word.

    The bar ends two and a half bands below and above the wanted tension; its marks stand at one.

    Args:
        reading: of the load cell [N].
        wanted: tension, above 0 [N].
        band: how far it may be off [share of wanted, -].
        units: the reader's units.
    """
    off = reading / wanted - 1.0
    # A web that is lost may leave no reading at all.
    off = off if math.isfinite(off) else -1.0
    word, colour, sign = verdict(reading, wanted, band)
    place = 50.0 + 50.0 * min(max(off / (BAR * band), -1.0), 1.0)
    edge = 50.0 / BAR
    aim = units.plain(wanted, "tension", digits=3)
    return (
        f'<div class="bar" role="img" aria-label="tension {word}, wanted {html.escape(aim)}">'
        f'<i class="target" style="left:{50 - edge:g}%;width:{2 * edge:g}%"></i>'
        f'<i class="mark" style="left:{50 - edge:g}%"></i>'
        f'<i class="mark" style="left:{50 + edge:g}%"></i><i class="middle" style="left:50%"></i>'
        f'<i class="needle" style="left:{place:.1f}%;background:{colour}"></i></div>'
        f'<div class="verdict"><span><span style="color:{colour}">{sign}</span> {word}</span>'
        f'<span class="aim">{html.escape(aim)} ± {100 * band:g} %</span></div>'
    )


def verdict(reading: float, wanted: float, band: float = ON_TARGET) -> tuple[str, str, str]:
    """Return what to think of a reading: a word, its colour and its sign.

    Args:
        reading: of the load cell [N].
        wanted: tension [N].
        band: how far it may be off [share of wanted, -].
    """
    if reading > (1.0 + band) * wanted:
        return "high", VERMILION, "▲"
    if reading >= (1.0 - band) * wanted:
        return "on target", GREEN, "●"
    return "low", BLUE, "▼"


def _reading(name: str, value: float, largest: float, unit: str, *, signed: bool = False) -> str:
    decimals = max(0, 2 - math.floor(math.log10(largest)))
    # Room for what goes a little beyond the scale, and for a sign where there may be one.
    room = len(f"{(-1.2 if signed else 1.2) * largest:.{decimals}f}")
    text = f"{value:.{decimals}f}" if math.isfinite(value) else "–"
    # "-0" is nothing to read.
    text = text.removeprefix("-") if not text.strip("-0.") else text
    text = text.replace("-", "−")
    return (
        f'<div><div class="name">{html.escape(name)}</div><div class="value">'
        f'<span class="number" style="min-width:{room * 0.56:.2f}em">{text}</span>'
        f'<span class="unit">{html.escape(unit)}</span></div></div>'
    )


def _automatic(panel: Panel) -> str:
    """What the output would be in automatic; a sign where it is another one."""
    shown = "visible" if abs(panel.automatic_output - panel.output) > OTHER else "hidden"
    sign = f'<span style="visibility:{shown}"> ≠ output</span></div>'
    return _reading("In automatic", panel.automatic_output, 99.9, "%").replace("</div>", sign, 1)


def _mode(automatic: bool) -> str:
    return _state(
        "Mode", "AUTO" if automatic else "MANUAL", GREEN if automatic else ORANGE, automatic
    )


def _web(panel: Panel) -> str:
    colours = {"taut": GREEN, "slack": ORANGE, "broken": VERMILION}
    return _state("Web", panel.web.upper(), colours[panel.web], panel.web == "taut")


def _state(name: str, word: str, colour: str, round_mark: bool) -> str:
    shape = "50%" if round_mark else "0"
    return (
        f'<div><div class="name">{name}</div><div class="value" style="font-size:26px">'
        f'<span class="dot" style="background:{colour};border-radius:{shape}"></span>'
        f"{word}</div></div>"
    )
