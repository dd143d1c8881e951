"""Scripted trainees who know nothing but what the panel shows: good ones and bad ones.

Unlike the ideal run they have no model of the machine. The good ones do what is taught (common
practice, no source): one move in proportion, wait, look, correct; reading to setpoint, then switch.
"""

from simulator import run_kernel


def idle(hands):
    yield 1000.0


def too_early(hands):
    yield 4.0


def straight_to_automatic(hands):
    yield 2.0
    hands.do("automatic")
    yield 1000.0


def automatic_now(hands):
    return bool(hands.practice.window[-1, run_kernel.IS_AUTOMATIC])


def proportion(hands, moves=4, wait=8.0, pedestal=0.0):
    """Tension goes with the output: one move in proportion, a wait, another for what is left."""
    for _ in range(moves):
        reading = hands.mean_reading(2.0)
        if abs(reading - hands.wanted) < 0.015 * hands.wanted:
            return
        ratio = min(max(hands.wanted / max(reading, 1.0), 0.3), 3.0)
        hands.do("output", (hands.output + pedestal) * ratio - pedestal)
        yield wait


def take_over(hands):
    hands.do("setpoint", max(hands.mean_reading(2.0), 0.0))
    yield 1.0
    hands.do("automatic")
    yield hands.goal.hold + 4.0


def find_output(hands):
    yield 3.0
    yield from proportion(hands)
    yield hands.goal.hold + 2.0


def proportion_and_hand_over(hands):
    yield 3.0
    yield from proportion(hands)
    yield from take_over(hands)


def look_and_hand_over(hands):
    yield 4.0
    yield from take_over(hands)


def tracking_first(hands):
    yield 4.0
    hands.do("tracking", 1.0)
    yield 1.0
    yield from take_over(hands)


def watch_the_ramp(hands, target=None):
    """Start the line, and take out what the reading does, every second."""
    run = hands.practice.start.scenario.run
    before = hands.output
    hands.do("start")
    while hands.line_speed < run.line_speed:
        yield 1.0
        error = hands.wanted - hands.mean_reading(1.0)
        hands.do("output", max(hands.output + 0.25 * before * error / hands.wanted, 0.0))
    hands.do("output", before)
    yield 8.0


def run_up(hands):
    yield 3.0
    yield from watch_the_ramp(hands)
    yield from proportion(hands)
    yield hands.goal.hold + 2.0


def run_up_and_hand_over(hands):
    yield 3.0
    hands.do("Kc", hands.practice.setup.scenario.controller.Kc)
    yield from watch_the_ramp(hands)
    yield from proportion(hands)
    yield from take_over(hands)


def from_rest(hands, guess=20.0):
    run = hands.practice.start.scenario.run
    hands.do("output", guess)
    yield 2.0
    hands.do("line speed", run.crawl_speed, 6.0)
    yield 12.0
    yield from proportion(hands)
    yield from watch_the_ramp(hands)
    yield from proportion(hands)
    yield from take_over(hands)


def whole_start(hands):
    yield 2.0
    yield from from_rest(hands)


def zero_and_start(hands):
    yield 2.0
    hands.zero()
    yield 1.0
    yield from from_rest(hands)


def zero_under_tension(hands):
    """It notices the zero when the web runs, and zeroes its tension away."""
    run = hands.practice.start.scenario.run
    hands.do("output", 20.0)
    yield 2.0
    hands.do("line speed", run.crawl_speed, 6.0)
    yield 12.0
    hands.zero()
    yield 2.0
    yield from proportion(hands)
    yield from watch_the_ramp(hands)
    yield from proportion(hands)
    yield from take_over(hands)


def catch_the_ringing(hands):
    while abs(hands.reading - hands.wanted) < 0.12 * hands.wanted and hands.time < 40.0:
        yield 0.3
    yield 1.5  # it takes a moment to believe it
    window = hands.practice.window
    recent = window[:, run_kernel.TIME] > hands.time - 4.0
    hands.do("manual")
    hands.do("output", float(window[recent, run_kernel.OUTPUT].mean()))
    hands.do("Kc", 0.4 * hands.practice.running.controller.Kc)
    yield 8.0
    yield from proportion(hands)
    yield from take_over(hands)


def preset_in_proportion(hands):
    new = next(a for a in hands.practice.start.plan if a.what == "new roll")
    yield 3.0
    hands.do("preset", hands.output * new.value / hands.diameter)
    yield new.at - hands.time + 15.0 + hands.goal.hold


def stop_at_the_bell(hands):
    at, _ = hands.practice.start.call[0]
    yield at + 1.5 - hands.time
    before = hands.output
    hands.do("manual")
    hands.do("output", min(1.5 * before, 100.0))
    hands.do("fast stop")
    yield hands.practice.start.scenario.run.stop_time
    hands.do("output", before)
    yield hands.goal.hold + 4.0


def sleep_through_the_bell(hands):
    at, _ = hands.practice.start.call[0]
    yield at + 12.0 - hands.time
    hands.do("fast stop")
    yield 1000.0


def stop_and_thread(hands):
    at, _ = hands.practice.start.call[0]
    yield at + 1.5 - hands.time
    hands.do("manual")
    hands.do("output", 50.0)
    hands.do("fast stop")
    yield hands.practice.start.scenario.run.stop_time
    for _ in range(60):
        if abs(hands.rim_speed) < 0.005:
            break
        yield 0.5
    hands.do("output", 2.0)
    yield 2.0
    hands.do("thread")
    yield 1.0
    yield from from_rest(hands)


def thread_with_the_brake_on(hands):
    """It leaves the output where automatic wound it up to."""
    at, _ = hands.practice.start.call[0]
    yield at + 6.0 - hands.time
    hands.do("manual")
    hands.do("fast stop")
    yield hands.practice.start.scenario.run.stop_time + 3.0
    hands.do("thread")
    yield 1.0
    hands.do("start")
    yield 1000.0


def away_and_back(hands):
    yield 6.0
    hands.do("manual")
    yield 3.0
    for _ in range(6):
        reading = hands.mean_reading(2.0)
        if abs(reading - hands.wanted) < 0.03 * hands.wanted:
            break
        aim = hands.output * hands.wanted / reading
        hands.do("output", aim - 6.0)
        yield 0.5
        hands.do("output", aim)
        yield 6.0
    yield hands.goal.hold + 4.0


# A good and a bad trainee for each drill.
TRAINEES = {
    "output at full roll": (find_output, idle),
    "output near the core": (find_output, straight_to_automatic),
    "crawl to speed in manual": (run_up, too_early),
    "bumpless hand-over": (proportion_and_hand_over, too_early),
    "setpoint off": (look_and_hand_over, straight_to_automatic),
    "tracking off": (tracking_first, straight_to_automatic),
    "hand-over at crawl": (run_up_and_hand_over, straight_to_automatic),
    "from rest to automatic": (whole_start, straight_to_automatic),
    "loop starts to ring": (catch_the_ringing, idle),
    "splice to a new roll": (preset_in_proportion, too_early),
    "fast stop": (stop_at_the_bell, sleep_through_the_bell),
    "web break and restart": (stop_and_thread, thread_with_the_brake_on),
    "drifted zero": (zero_and_start, zero_under_tension),
    "sticking brake": (away_and_back, idle),
}
