"""Advice on the hand-over: setpoint, tracking, moving tension, a loop that rings."""

from __future__ import annotations

import math

import numpy as np

from simulator.plan import scan_of
from simulator.torque_devices import FrictionBrake
from tuning.practice.advice_facts import Seen, newtons, rounded, side
from tuning.practice.measures import Switch

# A setpoint is off the reading from here on [% of wanted].
GAP = 5.0
# A jump of the output counts where it is worth so much tension [% of wanted].
JUMP = 4.0
# A tension is on its way where so much of the last move is still to come [% of wanted].
TO_COME = 4.0
# Or where the bump is so much larger than the ideal run's [% of wanted].
SWINGS_ON = 5.0
# A moving tension shows within this [s].
SHORT = 0.4
# A loop is left ringing where it rings so much longer than in the ideal run [s].
LEFT_RINGING = 6.0


def setpoint_off(seen: Seen) -> str:
    """Handed over with the setpoint off the reading."""
    worst = max(seen.m.switches, key=lambda s: abs(s.gap), default=None)
    if worst is None or abs(worst.gap) < GAP or worst.bump_percent < 0.6 * abs(worst.gap):
        return ""
    gap = 0.01 * worst.gap * seen.wanted
    return (
        f"You switched with the setpoint {newtons(gap, 2)} ({rounded(worst.gap)} %) "
        f"{side(gap)} the reading, and the tension went there with a bump of "
        f"{newtons(worst.bump, 2)}: make the reading the setpoint just before you switch, and "
        "correct it in automatic, a little at a time."
    )


def not_tracking(seen: Seen) -> str:
    """Handed over with tracking off, and the output jumped."""
    worst = max(seen.m.switches, key=lambda s: abs(s.jump), default=None)
    if worst is None or seen.setting("tracking", worst.at) == 1.0 or _moved_too(seen, worst):
        return ""
    worth = worst.jump * seen.point(worst.at).tension_per_percent
    if 100.0 * abs(worth) < JUMP * seen.wanted:
        return ""
    return (
        f"Tracking was off and the output jumped by {rounded(worst.jump)} % at the switch, worth "
        f"{newtons(worth, 2)}: look at what automatic would give before you switch; where it is "
        "not what the output is, turn tracking on first."
    )


def still_moving(seen: Seen) -> str:
    """Handed over while the tension was still moving."""
    device = seen.scenario.torque_device
    if isinstance(device, FrictionBrake) and device.sticking > 0.0:
        return ""  # where it goes from here nobody knows
    for switch in seen.m.switches:
        rest, slope = _to_come(seen, switch.at)
        far = abs(rest) > 0.01 * TO_COME * seen.wanted + seen.start.shake * seen.wanted
        if not far and switch.bump_percent < _bump_of(seen) + SWINGS_ON:
            continue
        lead = _what_before(seen, switch.at)
        if not lead or switch.bump_percent < _bump_of(seen) + 2.0:
            continue
        wait = max(seen.settles_in(switch.at), 2.0)
        pace = ""
        if slope * rest > 0.0:
            pace = f" and {side(slope, 'rose', 'fell')} by {newtons(slope, 2)} a second"
        still = f"still had {newtons(rest, 2)} to go{pace}" if far else "still swung from it"
        return (
            f"You switched {lead}, while the tension {still}: wait until the reading stands "
            f"still, about {wait:.0f} s here, then make it the setpoint."
        )
    return ""


def in_a_ramp(seen: Seen) -> str:
    """Handed over while the line changed its speed."""
    for s in seen.m.switches:
        if any(r.at < s.at < r.until for r in seen.ramps) and s.bump_percent > _bump_of(seen) + 5.0:
            return (
                f"You switched to automatic while the line changed its speed, and the tension went "
                f"{newtons(s.bump, 2)} away: let the line reach its speed in manual first, and "
                "hand over when the reading stands still."
            )
    return ""


def left_ringing(seen: Seen) -> str:
    """Stayed in automatic while it rang."""
    lasted = sum(b - a for a, b in seen.ringing)
    if lasted < LEFT_RINGING:
        return ""
    first = seen.ringing[0][0]
    lowered = _lowered_at(seen, first)
    crawl = ""
    if seen.drill.key == "hand-over at crawl" and _at_crawl(seen, first):
        crawl = " At crawl the web damps least, so run up in manual and hand over at speed."
    if not math.isnan(lowered) and seen.run.automatic[seen.index(lowered)] > 0.5:
        return (
            f"You left it in automatic for {lasted:.0f} s while it rang: go to manual first, which "
            f"stops it at once, and change the gain there.{crawl}"
        )
    if not math.isnan(lowered):
        return (
            f"You lowered the gain in manual: right, but {lasted:.0f} s too late, for so long it "
            f"had rung in automatic. Go to manual as soon as the swings grow.{crawl}"
        )
    back = " each time" if len(seen.ringing) > 1 else ""
    return (
        f"It rang for {lasted:.0f} s and you left it in automatic{back} and lowered no gain: go to "
        "manual as soon as the swings grow, let them die out, halve the gain, and hand over again."
        f"{crawl}"
    )


def same_gain_again(seen: Seen) -> str:
    """Went back to automatic with the gain that had rung."""
    for begin, _ in seen.ringing:
        again = [s for s in seen.m.switches if s.at > begin]
        if again and not seen.calmed(again[-1].at) and not _speed_helps(seen, begin, again[-1].at):
            return (
                "You went back to automatic with the gain that had made it ring: lower it while "
                "you are in manual, to half or less, or the next knock starts it again."
            )
    return ""


def gain_left_high(seen: Seen) -> str:
    """Handed over at a gain that someone had left too high."""
    mine, right = seen.scenario.controller.Kc or 0.0, seen.practice.setup.scenario.controller.Kc
    if not right or mine < 1.3 * right or not seen.m.switches:
        return ""
    last = seen.m.switches[-1]
    if seen.calmed(last.at):
        return ""
    return (
        f"The gain stood at {rounded(mine / right)} times what suits this machine, and you "
        "switched with it: look at the controller's settings before you switch, and lower Kc first."
    )


def _lowered_at(seen: Seen, since: float) -> float:
    """When the gain was first lowered plainly, Kc or Kc/Ti [s]; nan if it was not."""
    Kc, Ti = seen.setting("Kc", since), seen.setting("Ti", since)
    for action in seen.done("Kc", "Ti"):
        now = seen.setting("Kc", action.at), seen.setting("Ti", action.at)
        if action.at > since and (now[0] < 0.95 * Kc or now[1] > 1.05 * Ti):
            return action.at
    return math.nan


def _to_come(seen: Seen, at: float) -> tuple[float, float]:
    """How far the tension still had to go at a switch [N], and how fast it went [N/s]."""
    i = seen.index(at)
    before = (seen.run.time >= at - SHORT) & (seen.run.time < at)
    if before.sum() < 3:
        return 0.0, 0.0
    point, T = seen.point(at), seen.run.web_tension[before]
    slope = float(np.polyfit(seen.run.time[before], T, 1)[0])
    output = float(seen.run.output[max(i - 1, 0)])
    ends = seen.wanted + (output - point.output) * point.tension_per_percent
    rest = ends - (float(T.mean()) + 0.5 * SHORT * slope)
    return rest, slope


def _what_before(seen: Seen, at: float) -> str:
    ramp = next((r for r in reversed(seen.ramps) if r.at < at), None)
    move = next((m for m in reversed(seen.moves) if m.at < at), None)
    wait = max(seen.settles_in(at), 2.0)
    if move and at - move.until < wait:
        return f"{at - move.until:.1f} s after your last move of the output"
    if ramp and ramp.until < at < ramp.until + wait:
        return f"{at - ramp.until:.1f} s after the line had come to its speed"
    return ""


def _bump_of(seen: Seen) -> float:
    """The bump of the ideal run [% of wanted]; of the machine's own shake where it had none."""
    bump = seen.ideal.bump
    return bump if bump == bump else 200.0 * seen.start.shake


def _moved_too(seen: Seen, switch: Switch) -> bool:
    """Whether the output was set by hand at the same scan."""
    scan = seen.index(switch.at)
    return any(
        scan_of(seen.scenario, a) == scan for a in seen.done("output")
    )  # a move then is not the switch's doing


def _at_crawl(seen: Seen, at: float) -> bool:
    run = seen.scenario.run
    return float(seen.run.line_speed[seen.index(at)]) < 1.5 * run.crawl_speed


def _speed_helps(seen: Seen, rang: float, again: float) -> bool:
    """Whether it rang at crawl and the line was at speed at the next switch."""
    return _at_crawl(seen, rang) and not _at_crawl(seen, again)
