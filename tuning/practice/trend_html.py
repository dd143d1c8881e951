"""The last minute of tension, setpoint and output as HTML, on axes that stay.

The curves are stretched to whatever width there is, words and lines are not. Time counts back from
now; what is drawn is thinned by stretches of absolute time, so that a peak keeps its height while
it moves to the left.
"""

from __future__ import annotations

import math

import numpy as np

from simulator.figure_style import BLUE, GREEN, GREY, VERMILION, round_size
from simulator.scenario import Scenario
from simulator.units import METRIC, UnitSystem, sensible
from tuning.practice.panel import WINDOW, Array, Panel

# Heights of the two panels, and of all with its words [px].
TENSION_HEIGHT, OUTPUT_HEIGHT, HEIGHT = 142, 64, 284
# Stretches of the window of which the least and the largest value are drawn [-].
STRETCHES = 240
# Units of a panel's own page, whatever its size on the screen [-].
_ACROSS, _UP = 1200, 1000
# A stretch in one mode has room for its word above this share of the window [-].
_ROOM = 0.14

STYLE = (
    ".trend-live{position:relative;font:14px/1 'Source Sans',sans-serif;"
    "font-variant-numeric:tabular-nums}"
    ".trend-live .plot{position:absolute;left:42px;right:16px;box-sizing:border-box;"
    "border:1px solid rgba(128,128,128,.7);overflow:hidden}"
    ".trend-live svg{position:absolute;inset:0;width:100%;height:100%;display:block}"
    ".trend-live path{fill:none;vector-effect:non-scaling-stroke}"
    ".trend-live span{position:absolute;white-space:nowrap}"
    ".trend-live .tick{right:100%;margin-right:16px}"
    ".trend-live .scale{position:absolute;left:42px;right:16px;height:0}"
    ".trend-live .scale span{transform:translate(-50%,0)}"
    ".trend-live .mode{top:4px;padding-left:4px;font-weight:600}"
)


def trend_html(panel: Panel, scenario: Scenario, *, units: UnitSystem = METRIC) -> str:
    """Return the trend of the panel's window as HTML of one line of text; `STYLE` goes with it.

    Args:
        panel: what there is to see.
        scenario: the machine.
        units: the reader's units.
    """
    rows = panel.recent[panel.recent[:, 0] >= panel.time - WINDOW]
    top = scenario.controller.tension_range
    reading, setpoint = (_curve(panel.time, rows, column, top) for column in (1, 2))
    output = _curve(panel.time, rows, 3, 100.0)
    low, high = ((1.0 + side * panel.band) * panel.wanted for side in (-1, 1))
    band = (
        f'<rect x="0" width="{_ACROSS}" y="{_height(high, top)}" '
        f'height="{_height(low, top) - _height(high, top)}" fill="{GREEN}" fill-opacity="0.16"/>'
    )
    shades, words = _modes(panel.time, rows)
    unit = units.label("tension")
    above = 26
    below = above + TENSION_HEIGHT + 32
    return (
        f'<div class="trend-live" style="height:{HEIGHT}px" role="img" '
        f'aria-label="tension, setpoint and output over the last {WINDOW:g} seconds">'
        f"{_title(0, f'Tension [{unit}]', (('reading', BLUE, ''), ('setpoint', VERMILION, '6 3')))}"
        f"{_ticks(above, TENSION_HEIGHT, _tension_ticks(top, units))}"
        f'<div class="plot" style="top:{above}px;height:{TENSION_HEIGHT}px">'
        f"{_page(band + shades + _grid(_tension_ticks(top, units)))}"
        f"{_line(reading, BLUE, '1.6', '')}{_line(setpoint, VERMILION, '1.8', '6 3')}</svg>"
        f"{words}</div>"
        f"{_title(below - 26, 'Output [%]', (('output', GREEN, ''),))}"
        f"{_ticks(below, OUTPUT_HEIGHT, _OUTPUT_TICKS)}"
        f'<div class="plot" style="top:{below}px;height:{OUTPUT_HEIGHT}px">'
        f"{_page(shades + _grid(_OUTPUT_TICKS))}{_line(output, GREEN, '2', '')}</svg></div>"
        f"{_seconds(below + OUTPUT_HEIGHT + 3)}</div>"
    )


def _page(drawn: str) -> str:
    return f'<svg viewBox="0 0 {_ACROSS} {_UP}" preserveAspectRatio="none"><g>{drawn}</g>'


def _height(value: float, top: float) -> int:
    """Place of a value from the upper edge, kept on the panel."""
    return round(_UP * (1.0 - min(max(value / top, 0.0), 1.0)))


def _across(time: float, now: float) -> int:
    return round(_ACROSS * (1.0 + min(max((time - now) / WINDOW, -1.0), 0.0)))


def _curve(now: float, rows: Array, column: int, top: float) -> str:
    """A path through the least and the largest value of each short stretch of time."""
    known = rows[np.isfinite(rows[:, column])]
    if not known.size:
        return ""
    time, values = known[:, 0], known[:, column]
    stretch = np.floor(time * (STRETCHES / WINDOW))
    starts = np.flatnonzero(np.diff(stretch, prepend=-np.inf))
    low, high = np.minimum.reduceat(values, starts), np.maximum.reduceat(values, starts)
    last = np.append(starts[1:], time.size) - 1
    # A stretch that falls is drawn falling.
    falls = values[starts] > values[last]
    x = np.column_stack([time[starts], time[last]]).ravel()
    y = np.column_stack([np.where(falls, high, low), np.where(falls, low, high)]).ravel()
    across = np.rint(_ACROSS * (1.0 + np.clip((x - now) / WINDOW, -1.0, 0.0))).astype(int).tolist()
    height = np.rint(_UP * (1.0 - np.clip(y / top, 0.0, 1.0))).astype(int).tolist()
    # Where a value stays, its ends say as much as all of it.
    points = list(zip(across, height, strict=True))
    kept = [
        point
        for i, point in enumerate(points)
        if i in (0, len(points) - 1) or not points[i - 1][1] == point[1] == points[i + 1][1]
    ]
    return "M" + "L".join(f"{a} {b}" for a, b in kept)


def _line(path: str, colour: str, width: str, dash: str) -> str:
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    return f'<path d="{path or "M0 0"}" stroke="{colour}" stroke-width="{width}"{dashed}/>'


def _modes(now: float, rows: Array) -> tuple[str, str]:
    """Shades under what was in automatic, and a word over each stretch that has room for it."""
    if not rows.size:
        return "<g></g>", "<div></div>"
    automatic = rows[:, 4] > 0.5
    edges = np.flatnonzero(np.diff(automatic)) + 1
    starts = [0, *edges.tolist()]
    ends = [*edges.tolist(), automatic.size]
    shades, words = [], []
    for start, end in zip(starts, ends, strict=True):
        left = _across(float(rows[start, 0]), now)
        right = _ACROSS if end == automatic.size else _across(float(rows[end, 0]), now)
        if automatic[start]:
            shades.append(
                f'<rect x="{left}" y="0" width="{right - left}" height="{_UP}" '
                f'fill="{GREY}" fill-opacity="0.16"/>'
            )
        if right - left > _ROOM * _ACROSS:
            word = "AUTO" if automatic[start] else "MANUAL"
            words.append(
                f'<span class="mode" style="left:{100.0 * left / _ACROSS:.2f}%">{word}</span>'
            )
    return f"<g>{''.join(shades)}</g>", f"<div>{''.join(words)}</div>"


_OUTPUT_TICKS = tuple((level / 100.0, f"{level}") for level in (0, 50, 100))


def _tension_ticks(top: float, units: UnitSystem) -> tuple[tuple[float, str], ...]:
    """Round values in the reader's units with their share of the range."""
    shown = units.show(top, "tension")
    step = round_size(shown / 3.0)
    count = math.floor(shown / step * (1.0 + 1e-9))
    return tuple(
        (i * step / shown, "0" if i == 0 else sensible(i * step, 1)) for i in range(count + 1)
    )


def _grid(ticks: tuple[tuple[float, str], ...]) -> str:
    levels = "".join(f"M0 {round(_UP * (1.0 - share))}H{_ACROSS}" for share, _ in ticks)
    times = "".join(f"M{round(_ACROSS * k / 6)} 0V{_UP}" for k in range(1, 6))
    return f'<path d="{levels}{times}" stroke="{GREY}" stroke-opacity="0.3" stroke-width="1"/>'


def _title(top: int, text: str, keys: tuple[tuple[str, str, str], ...]) -> str:
    parts = [f'<span style="left:0;top:{top + 1}px;font-weight:600">{text}</span>']
    left = 118
    for name, colour, dash in keys:
        style = "dashed" if dash else "solid"
        parts.append(
            f'<span style="left:{left}px;top:{top + 6}px;width:26px;'
            f'border-top:3px {style} {colour}"></span>'
            f'<span style="left:{left + 32}px;top:{top + 1}px">{name}</span>'
        )
        left += 100
    return "".join(parts)


def _ticks(top: int, height: int, ticks: tuple[tuple[float, str], ...]) -> str:
    return "".join(
        f'<span style="right:calc(100% - 37px);top:{top + height * (1.0 - share) - 7:.0f}px">'
        f"{text}</span>"
        for share, text in ticks
    )


def _seconds(top: int) -> str:
    marks = "".join(
        f'<span style="left:{100.0 * k / 6:.1f}%">{text}</span>'
        for k, text in ((0, "−60 s"), (2, "−40 s"), (4, "−20 s"), (6, "now"))
    )
    return f'<div class="scale" style="top:{top}px">{marks}</div>'
