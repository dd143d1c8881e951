"""Advice where the web was lost: how it broke, why it went slack."""

from __future__ import annotations

import math

from tuning.practice.advice_facts import Ramp, Seen, newtons, rounded

# An output this many times what holds the tension is too high, or too low [-].
TOO_HIGH, TOO_LOW = 1.3, 0.75
# A cause lies at most this long before what it does [s].
JUST_BEFORE = 3.0
# The first pull comes within this of a start [s].
PULLS_FOR = 6.0


def broke_on_restart(seen: Seen) -> str:
    """After a break the output had been left where it was, and the first pull broke the web."""
    threaded = [a.at for a in seen.done("thread") if a.at < seen.broke_at]
    if not threaded:
        return ""
    pulled = next((r for r in seen.ramps if r.until > threaded[-1] and r.to > r.was), None)
    if pulled is None or pulled.at > seen.broke_at:
        return ""
    output, holds = float(seen.run.output[seen.index(pulled.at)]), seen.point(pulled.at).output
    if output < TOO_HIGH * holds:
        return ""
    return (
        f"The web broke again at the first pull: the output still stood at {rounded(output)} % "
        f"when the line started, and {rounded(holds)} % holds {newtons(seen.wanted)} there. After "
        "a break go to manual at once, and before you start set the output to half of what holds "
        "the tension."
    )


def broke_in_stop(seen: Seen) -> str:
    """The web broke while the line slowed down."""
    ramp = _ramp_at(seen, seen.broke_at)
    if ramp is None or ramp.to > ramp.was:
        return ""
    help_it = seen.helped(ramp)
    by_hand = any(m.at >= ramp.at - JUST_BEFORE and m.at < seen.broke_at for m in seen.moves)
    if seen.unwinds and by_hand:
        return (
            "The web broke in the stop: the output was too high for it. To stop this roll take the "
            f"output {help_it}, no more, just before; and take it back as the line comes to rest."
        )
    if seen.unwinds:
        return (
            "The web broke in the stop: the controller overshot while the roll wanted to run on. "
            f"Go to manual before you stop, and take the output {help_it}."
        )
    return (
        "The web broke in the stop: a winding roll wants to run on and pulls. Go to manual before "
        f"you stop, and take the output {help_it} until the line stands."
    )


def broke_ringing(seen: Seen) -> str:
    """The loop rang until the web broke."""
    # It may break in the first large swings.
    small = 0.5 * seen.loose
    if not any(a <= seen.broke_at <= b + JUST_BEFORE for a, b in seen.swings(small)):
        return ""
    return (
        "The loop rang until the web broke. The moment the swings grow, go to manual: it stops the "
        "loop feeding them; lower the gain to half before you go back to automatic."
    )


def broke_by_hand(seen: Seen) -> str:
    """The output was too high for the roll."""
    i = seen.index(seen.broke_at)
    point = seen.point(seen.broke_at)
    before = max(i - 1, 0)
    output = float(seen.run.output[before])
    if output < TOO_HIGH * point.output:
        return ""
    if seen.run.automatic[before] > 0.5:
        return (
            f"Automatic had run the output up to {rounded(output)} % when the web broke, where "
            f"{rounded(point.output)} % holds {newtons(seen.wanted)}. When the reading no longer "
            "follows the output, go to manual and set the output that you know."
        )
    diameter = rounded(1000.0 * float(seen.run.diameter[i]), 3)
    return (
        f"The web broke because the output was too high: {rounded(output, 3)} % on a roll of "
        f"{diameter} mm, where {rounded(point.output, 3)} % holds {newtons(seen.wanted)}. One per "
        f"cent is worth {newtons(point.tension_per_percent, 2)} here: work out the move before you "
        "make it, and make half of it first."
    )


def broke_anyhow(seen: Seen) -> str:
    """The web broke in no way that the others know."""
    if math.isnan(seen.broke_at):
        return ""
    return (
        f"The web broke at {seen.broke_at:.0f} s. Look in the picture at what was done just before "
        "it, and next time do half as much of that, or earlier."
    )


def broke(seen: Seen) -> str:
    """How the web broke that should not have."""
    if math.isnan(seen.broke_at):
        return ""
    ways = (broke_on_restart, broke_in_stop, broke_ringing, broke_by_hand, broke_anyhow)
    return next(text for way in ways if (text := way(seen)))


def pulled_wound_up(seen: Seen) -> str:
    """Stayed in automatic after the break, so that the restart pulled with a wound-up output."""
    for at, threaded in seen.broken:
        pull = next((r for r in seen.ramps if r.at >= threaded and r.to > r.was), None)
        if pull is None:
            continue
        i = seen.index(pull.at)
        between = slice(seen.index(at), i + 1)
        until = min(pull.at + PULLS_FOR, float(seen.run.time[-1]))
        peak = float(seen.run.web_tension[i : seen.index(until) + 1].max()) / seen.wanted
        if seen.run.automatic[between].min() < 0.5 or peak < TOO_HIGH:
            continue
        return (
            "You stayed in automatic after the break, and it wound the output up to "
            f"{rounded(float(seen.run.output[between].max()))} % for a tension that could not "
            f"come; so the first pull after the restart was {rounded(peak)} times the job card. "
            "Next time manual at once, and half of what holds the tension before you start."
        )
    return ""


def went_slack(seen: Seen) -> str:
    """Why the web went slack."""
    if seen.m.slack <= seen.ideal.slack + 0.1 or math.isnan(seen.slack_at):
        return ""
    # What the output did at a switch without tracking is said there.
    jumped = [s.at for s in seen.m.switches if abs(s.jump) > 1.0]
    if any(0.0 <= seen.slack_at - at < JUST_BEFORE for at in jumped):
        return ""
    lead = f"The web went slack at {seen.slack_at:.0f} s"
    ways = (_slack_in_ramp, _slack_in_splice, _slack_ringing, _slack_by_hand, _slack_at_rest)
    return next((f"{lead}{text}" for way in ways if (text := way(seen))), f"{lead}{_SLACK_ANYHOW}")


_SLACK_ANYHOW = (
    ": see in the picture what the output did just before. When the tension falls away, more "
    "output in manual brings it back; if it hangs, stop the line."
)


def _ramp_at(seen: Seen, at: float) -> Ramp | None:
    return next((r for r in seen.ramps if r.at <= at <= r.until + JUST_BEFORE), None)


def _slack_in_ramp(seen: Seen) -> str:
    ramp = _ramp_at(seen, seen.slack_at)
    if ramp is None:
        return ""
    need = seen.for_ramp(ramp)
    if need <= 0.0 and ramp.to < ramp.was:
        return (
            " as the line came to rest: the roll had lost its torque. Bring the output back to "
            "what holds the tension before the line stands."
        )
    if need <= 0.0:
        return (
            " after the line had started: the output was too low. Set it to what holds the tension "
            "at crawl before you speed up."
        )
    why = "the roll ran on" if seen.unwinds else "the roll fell behind"
    doing = "slowed down" if ramp.to < ramp.was else "sped up"
    return (
        f" while the line {doing}, because {why}. In manual, take the output {seen.helped(ramp)} "
        "just before the speed changes, and back when the change ends."
    )


def _slack_in_splice(seen: Seen) -> str:
    new = next((a for a in seen.start.plan if a.what == "new roll"), None)
    if new is None or not 0.0 <= seen.slack_at - new.at <= JUST_BEFORE:
        return ""
    return (
        f" as the new roll came: its {seen.device} stood at the wrong torque. Set the preset to "
        f"about {rounded(seen.point(new.at).output)} % before the splice comes."
    )


def _slack_ringing(seen: Seen) -> str:
    if not any(a <= seen.slack_at <= b + JUST_BEFORE for a, b in seen.ringing):
        return ""
    return (
        " because the loop rang that far. Go to manual as soon as the swings grow, and halve the "
        "gain before you go back to automatic."
    )


def _slack_by_hand(seen: Seen) -> str:
    last = next((m for m in reversed(seen.moves) if m.at <= seen.slack_at), None)
    if last is None or last.to >= last.was or seen.slack_at - last.until > JUST_BEFORE:
        return ""
    holds = seen.point(seen.slack_at).output
    return (
        f" after you moved the output from {rounded(last.was)} to {rounded(last.to)} %, where "
        f"{rounded(holds)} % holds {newtons(seen.wanted)}. Take less away at once, and wait what "
        "it does."
    )


def _slack_at_rest(seen: Seen) -> str:
    if seen.run.line_speed[seen.index(seen.slack_at)] > 0.0:
        return ""
    return (
        " at rest. Be in manual and leave the output at what holds the tension until the line runs."
    )
