"""A trend brought onto an even grid, and what is refused."""

import numpy as np
import pytest

from simulator import Trend, simulate
from tuning.oscillation.record import as_record


def trend(time, tension, **columns):
    unknown = np.full(len(time), np.nan)
    names = ("output", "setpoint", "line_speed", "diameter", "automatic")
    rest = {name: np.asarray(columns.get(name, unknown), float) for name in names}
    return Trend(time=np.asarray(time, float), tension=np.asarray(tension, float), **rest)


def test_an_even_trend_is_taken_as_it_is():
    t = 0.1 * np.arange(50)
    record = as_record(trend(t, np.sin(t), line_speed=np.full(50, 2.0)))
    assert record.interval == pytest.approx(0.1)
    assert np.array_equal(record.tension, np.sin(t))
    assert record.knows("line_speed") and not record.knows("diameter")
    assert not record.moves("line_speed")
    assert record.duration == pytest.approx(5.0)
    assert record.warnings == ()


def test_scattered_samples_are_brought_onto_a_grid_and_it_says_so():
    rng = np.random.default_rng(0)
    t = 0.1 * np.arange(400) + rng.uniform(-0.02, 0.02, 400)
    record = as_record(trend(t, np.sin(2 * np.pi * 0.2 * t)))
    grid = record.start + record.interval * np.arange(record.tension.size)
    assert np.abs(record.tension - np.sin(2 * np.pi * 0.2 * grid)).max() < 0.01
    assert "even grid" in record.warnings[0]


def test_a_given_diameter_or_speed_counts_only_where_none_is_recorded():
    t = 0.1 * np.arange(50)
    own = trend(t, np.sin(t), line_speed=np.full(50, 2.0))
    record = as_record(own, diameter=0.4, line_speed=3.0)
    assert np.all(record.diameter == 0.4)
    assert np.all(record.line_speed == 2.0)


def test_a_pull_roll_has_its_own_diameter(laminate):
    t = 0.1 * np.arange(50)
    record = as_record(trend(t, np.sin(t)), laminate)
    assert np.all(record.diameter == laminate.roll.diameter)


def test_holes_in_a_column_are_filled_and_a_column_of_holes_is_unknown():
    t = 0.1 * np.arange(50)
    speed, diameter = np.linspace(1.0, 2.0, 50), np.full(50, np.nan)
    speed[10:13], diameter[:5] = np.nan, 0.5
    record = as_record(trend(t, np.sin(t), line_speed=speed, diameter=diameter))
    assert np.allclose(record.line_speed, np.linspace(1.0, 2.0, 50))
    assert not record.knows("diameter")


def test_only_the_longest_run_of_the_line_is_judged():
    t = 0.1 * np.arange(300)
    speed = np.where((t > 5.0) & (t < 8.0), 0.0, 2.0)
    record = as_record(trend(t, np.sin(t), line_speed=speed))
    assert record.start == pytest.approx(8.0)
    assert record.line_speed.min() == 2.0
    assert "without a stop" in record.warnings[0]


def test_a_web_that_breaks_or_starts_slack_is_cut_off():
    t = 0.1 * np.arange(600)
    swing = 100.0 + 4.0 * np.sin(2 * np.pi * 0.5 * t)
    record = as_record(trend(t, np.where(t < 40.0, swing, 0.5)))
    assert record.duration == pytest.approx(40.0)
    assert "the web is taut" in record.warnings[0]
    record = as_record(trend(t, np.where(t > 15.0, swing, 0.0)))
    assert record.start == pytest.approx(15.1)
    # A swing that goes down to nothing each time is no break.
    deep = as_record(trend(t, 100.0 + 99.0 * np.sin(2 * np.pi * 0.5 * t)))
    assert deep.tension.size == 600


def test_the_mode_is_read_off_an_output_that_rests(film):
    from simulator import Action

    run = simulate(film, [Action(20.0, "automatic")], duration=60.0, seed=1)
    hidden = trend(run.time, run.tension, output=run.output)
    record = as_record(hidden)
    assert record.mode_inferred
    assert np.mean(record.automatic[run.time < 19.0]) < 0.02
    assert np.mean(record.automatic[run.time > 21.0]) > 0.98
    assert any("no mode is recorded" in warning for warning in record.warnings)
    assert not as_record(run).mode_inferred


def test_an_output_that_rests_at_its_limits_or_in_steps_is_in_automatic():
    t = 0.02 * np.arange(3000)
    swing = 50.0 + 80.0 * np.sin(2 * np.pi * 0.4 * t)
    for output in (np.clip(swing, 0.0, 100.0), np.round(50.0 + 6.0 * np.sin(2 * np.pi * 0.4 * t))):
        record = as_record(trend(t, 100.0 + np.sin(t), output=output))
        assert record.automatic.mean() > 0.98
    # An output that is moved by hand now and then is in manual.
    steps = 40.0 + 2.0 * np.floor(t / 15.0)
    assert as_record(trend(t, 100.0 + np.sin(t), output=steps)).automatic.max() == 0.0


def test_a_diameter_off_this_roll_is_doubted(film):
    t = 0.1 * np.arange(50)
    own = trend(t, 100.0 + np.sin(t), diameter=np.full(50, 0.9))
    assert any("right one" in warning for warning in as_record(own, film).warnings)
    own = trend(t, 100.0 + np.sin(t), diameter=np.full(50, 0.7))
    assert as_record(own, film).warnings == ()


@pytest.mark.parametrize(
    ("time", "tension", "words"),
    [
        (np.arange(10.0), np.zeros(10), "10 samples"),
        (np.zeros(50), np.zeros(50), "increase"),
        (np.arange(50.0), np.full(50, np.nan), "no numbers"),
        (np.arange(50.0), np.full(50, 1e20), "unit"),
        (np.arange(50.0), np.zeros(49), "shape"),
        (np.cumsum(np.tile([0.1, 0.1, 2.0], 30)), np.zeros(90), "uneven"),
    ],
)
def test_what_cannot_be_judged_is_refused_with_the_reason(time, tension, words):
    with pytest.raises(ValueError, match=words):
        as_record(trend(time, tension))


@pytest.mark.parametrize("value", [0.0, -1.0, np.nan, np.inf])
def test_a_diameter_that_can_not_be_is_refused(value):
    t = 0.1 * np.arange(50)
    with pytest.raises(ValueError, match="diameter"):
        as_record(trend(t, np.sin(t)), diameter=value)


def test_a_line_that_stands_has_nothing_to_judge():
    t = 0.1 * np.arange(50)
    with pytest.raises(ValueError, match="stands"):
        as_record(trend(t, np.sin(t), line_speed=np.zeros(50)))
