"""Advice on what hands did to the output: too many moves, too fast, too large, too small."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np

from simulator.torque_devices import FrictionBrake
from tuning.practice.advice_facts import Move, Ramp, Seen, newtons, rounded, side
from tuning.practice.advice_web import pulled_wound_up

# More moves than the ideal run by this are many; so many of them in haste are haste [-].
MANY, HASTY = 8, 5
# A move that takes the tension this far past the wanted one is too large [share of wanted, -].
PAST = 0.15
# A ramp is not compensated where the tension is off by so much, more than in the ideal run [-].
OFF_IN_RAMP = 0.10
# A supply that sticks by less than this is in good order [%].
STICKS = 1.0
LEAST_TRIES = 3
# A preset is wrong where it makes a tension so far off [share of wanted, -].
PRESET_OFF = 0.2
# Whoever stops is slow after this [s].
SLOW = 5.0


def too_hasty(seen: Seen) -> str:
    """Moved again before the machine had answered."""
    moves = seen.moves
    if len(moves) < seen.ideal.moves + HASTY:
        return ""
    wait = max(seen.settles_in(moves[0].at), 2.0)
    hasty = sum(b.at - a.until < 0.6 * wait for a, b in pairwise(moves))
    if hasty < max(HASTY, 0.5 * len(moves)):
        return ""
    device, cell = seen.scenario.torque_device, seen.scenario.load_cell
    blind = device.dead_time + device.lag + cell.dead_time + cell.filter_time
    return (
        f"You moved the output {len(moves)} times, {hasty} of them before the web had answered the "
        f"last: {seen.device} and load cell take {rounded(blind)} s before you see half of a move, "
        f"and all of it shows after {wait:.0f} s. Make one move, count to {wait:.0f}, then work "
        "out the next."
    )


def too_many(seen: Seen) -> str:
    """Many small moves."""
    moves = seen.moves
    if len(moves) < seen.ideal.moves + MANY:
        return ""
    size = float(np.median([abs(m.to - m.was) for m in moves]))
    return (
        f"You took {len(moves)} moves of about {rounded(size, 1)} % each, where two would do: see "
        "how far the first takes the tension, wait until it stands still, and work the rest out "
        "from that."
    )


def too_large(seen: Seen) -> str:
    """One move took the tension past the wanted one."""
    worst, most = None, PAST + seen.start.shake
    for move in seen.moves:
        past = _past(seen, move)
        if past > most:
            worst, most = move, past
    if worst is None:
        return ""
    before = seen.tension(worst.at)
    to = before + (worst.to - worst.was) * seen.point(worst.at).tension_per_percent
    right = (seen.wanted - before) / seen.point(worst.at).tension_per_percent
    return (
        f"Your move from {rounded(worst.was)} to {rounded(worst.to)} % was too large: it took the "
        f"tension from {newtons(before)} to {newtons(to)}, past the {newtons(seen.wanted)} wanted. "
        f"One per cent is worth {newtons(seen.point(worst.at).tension_per_percent, 2)} here, so "
        f"from {rounded(worst.was)} to about {rounded(worst.was + right)} % would have done: make "
        "half of a move first, and see what it does."
    )


def wrong_way(seen: Seen) -> str:
    """A move took the tension farther away."""
    for move in seen.moves:
        if any(r.at - 2.0 <= move.at <= r.until + 1.0 for r in seen.ramps):
            continue
        if seen.run.line_speed[seen.index(move.at)] <= 0.0:
            continue
        point = seen.point(move.at)
        before = seen.tension(move.at)
        after = before + (move.to - move.was) * point.tension_per_percent
        off, more = before - seen.wanted, after - before
        if off * more <= 0.0 or min(abs(off), abs(more)) < PAST * seen.wanted:
            continue
        # It did go there; a supply that sticks may not.
        went = seen.tension(move.until + min(seen.settles_in(move.at), 3.0) + 1.0) - before
        if went * more <= 0.0 or abs(went) < 0.5 * PAST * seen.wanted:
            continue
        return (
            f"At {move.at:.0f} s the tension was {newtons(off, 2)} too {side(off, 'high', 'low')}, "
            f"and you moved the output {side(more, 'up', 'down')}, from {rounded(move.was)} to "
            f"{rounded(move.to)} %, so that it went farther off. More output is more tension: "
            f"{rounded(point.output)} % holds {newtons(seen.wanted)} here."
        )
    return ""


def ramp_uncompensated(seen: Seen) -> str:
    """Let the tension go off while the line changed its speed in manual."""
    for ramp in seen.ramps:
        off = _off_between(seen, ramp.at + 0.2 * (ramp.until - ramp.at), ramp.until)
        by_hand = seen.run.automatic[seen.index(ramp.at)] < 0.5
        need = seen.for_ramp(ramp)
        change = need * seen.point(ramp.until).tension_per_percent / seen.wanted
        # It pulls where output is to be taken away.
        if not by_hand or not _worth_it(seen, ramp) or abs(change) < OFF_IN_RAMP:
            continue
        if abs(off) < OFF_IN_RAMP or off * change > 0.0:
            continue
        doing = "sped up" if ramp.to > ramp.was else "slowed down"
        return (
            f"While the line {doing}, the tension stood about {newtons(off * seen.wanted, 2)} too "
            f"{side(off, 'high', 'low')} for {ramp.until - ramp.at:.0f} s: the roll's inertia "
            f"{side(off, 'pulls', 'lets the web go')}. Take the output {seen.helped(ramp)} as the "
            "ramp starts, and undo it as the ramp ends."
        )
    return ""


def ramp_not_undone(seen: Seen) -> str:
    """Compensated a ramp and forgot to undo it at its end."""
    for ramp in seen.ramps:
        need = seen.for_ramp(ramp)
        helped = sum(m.to - m.was for m in seen.moves if ramp.at - 3.0 <= m.at < ramp.until - 2.0)
        undone = [m for m in seen.moves if m.at >= ramp.until - 2.0 and (m.to - m.was) * need < 0.0]
        late = min((m.at for m in undone), default=float(seen.run.time[-1])) - ramp.until
        off = _off_between(seen, ramp.until + 1.0, ramp.until + 1.0 + max(late - 1.0, 0.0))
        if not _worth_it(seen, ramp) or helped * need <= 0.3 * need * need or late < 3.0:
            continue
        if abs(off) < OFF_IN_RAMP or off * need < 0.0:
            continue
        return (
            f"You helped the ramp with the output, and took {late:.0f} s after its end to undo it; "
            f"the tension stood {newtons(off * seen.wanted, 2)} too {side(off, 'high', 'low')} "
            "until then. Have your hand on the output when the line comes to its speed."
        )
    return ""


def no_preset(seen: Seen) -> str:
    """The new roll came with the wrong output."""
    new = next((a for a in seen.start.plan if a.what == "new roll"), None)
    if new is None or new.at > seen.run.time[-1]:
        return ""
    holds = seen.point(new.at + 0.1)
    came = float(seen.run.output[max(seen.index(new.at) - 1, 0)])
    preset = [a.value for a in seen.done("preset") if a.at <= new.at]
    came = preset[-1] if preset else came
    off = (came - holds.output) * holds.tension_per_percent / seen.wanted
    if abs(off) < PRESET_OFF:
        return ""
    lead = (
        f"The preset of the new roll was {rounded(came)} %"
        if preset
        else f"You set no preset, so the new roll came with {rounded(came)} % from the old one"
    )
    return (
        f"{lead}; it takes about {rounded(holds.output)} %. Torque goes with the diameter: take "
        "the output before the splice times new diameter over old, and set that before it comes."
    )


def stuck_moves(seen: Seen) -> str:
    """Small moves that a sticking supply did not follow."""
    device = seen.scenario.torque_device
    if not isinstance(device, FrictionBrake) or device.sticking < STICKS:
        return ""
    # What helps a ramp comes in small steps that add up.
    steady = [m for m in seen.moves if not any(r.at <= m.at <= r.until + 1.0 for r in seen.ramps)]
    small = [m for m in steady if abs(m.to - m.was) < 0.95 * device.sticking]
    if len(small) < max(LEAST_TRIES, 0.4 * len(steady)):
        return ""
    return (
        f"{len(small)} of your {len(seen.moves)} moves were smaller than the "
        f"{rounded(device.sticking)} % by which the supply sticks, and did nothing until they "
        "added up: go away from the place by more than that, and come back to where you want it."
    )


def first_pull(seen: Seen) -> str:
    """From rest the first pull was hard."""
    pull = next((r for r in seen.ramps if r.was == 0.0 and r.to > 0.0), None)
    if pull is None or pulled_wound_up(seen):
        return ""
    i, j = seen.index(pull.at), seen.index(pull.at + 6.0)
    most = 100.0 * float(seen.off[i : j + 1].max())
    if most < max(seen.ideal.overshoot, 0.0) + 20.0:
        return ""
    return (
        f"The first pull from rest took the tension to "
        f"{newtons((1.0 + 0.01 * most) * seen.wanted)}: a web pulled from rest swings to about "
        "twice what the torque makes. Start with half the output, and slowly; set the rest at "
        "crawl."
    )


def slow_to_stop(seen: Seen) -> str:
    """The bell rang and the stop came late."""
    if seen.drill.key not in ("fast stop", "web break and restart"):
        return ""
    what = "bell rang" if seen.drill.key == "fast stop" else "web broke"
    bell = seen.start.judged_from
    stops = [a.at for a in seen.done("fast stop", "stop") if a.at >= bell]
    late = min(stops, default=math.inf) - bell
    if late <= SLOW or math.isinf(late):
        return ""
    return (
        f"The {what} and {late:.0f} s went by before you stopped the line: practised hands take "
        "two. Know where the stop is before you need it, and take it first."
    )


def _past(seen: Seen, move: Move) -> float:
    """How far past the wanted tension a move was bound to take it [share of wanted, -]."""
    i = seen.index(move.at)
    steady = not any(r.at - 1.0 <= move.at <= r.until + 1.0 for r in seen.ramps)
    if not steady or seen.run.line_speed[i] <= 0.0:
        return 0.0
    before = seen.tension(move.at) / seen.wanted - 1.0
    change = (move.to - move.was) * seen.point(move.at).tension_per_percent / seen.wanted
    # Toward the wanted tension, and past it; and it did go there.
    if before * change >= 0.0 and abs(before) > 0.02:
        return 0.0
    # The mean of a second comes a second later.
    j = seen.index(move.until + seen.settles_in(move.at) + 1.0)
    went = float(np.sign(change) * seen.mean[j] / seen.wanted - np.sign(change))
    return min(abs(before + change), max(went, 0.0)) if (before + change) * change > 0.0 else 0.0


def _off_between(seen: Seen, begin: float, end: float) -> float:
    """Mean departure from the wanted tension [share of it, -]."""
    i, j = seen.index(begin), seen.index(end)
    return float(seen.off[i : max(j, i + 1)].mean())


def _worth_it(seen: Seen, ramp: Ramp) -> bool:
    """Whether a ramp is long enough to do something about it, and judged, and not from rest."""
    return ramp.until - ramp.at > 3.0 and ramp.was > 0.0 and ramp.to > 0.0
