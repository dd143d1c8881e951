"""Every screen in a real browser: opened, looked at by its parts, its controls moved to their ends.

Needs a Chromium on the machine; skipped with a reason where there is none.
"""

import json
import math
import re
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from simulator import load_scenario, operating_point
from tuning import step_test
from tuning.screens import full_roll_to_core, load_cell

playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")

ROOT = Path(__file__).resolve().parents[1]
BROWSERS = ("chromium", "chromium-browser")
BROWSER = next((path for path in map(shutil.which, BROWSERS) if path), None)
QUIET = [
    "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
]  # fmt: skip
# The first screen is the one that opens.
SCREENS = [
    "", "load-cell", "manual-output", "step-test-and-gains", "full-roll-to-core", "handover",
    "oscillation",
]  # fmt: skip
WITH_SLIDERS = SCREENS[2:6]
WAIT = 60_000  # ms; the first simulation compiles

pytestmark = pytest.mark.skipif(BROWSER is None, reason="no Chromium on this machine")


@pytest.fixture(scope="module")
def address():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    server = subprocess.Popen(
        [sys.executable, "-m", "streamlit", "run", "app.py", "--server.headless", "true",
         "--server.port", str(port)],
        cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    try:
        for _ in range(300):
            try:
                urllib.request.urlopen(f"http://localhost:{port}/_stcore/health", timeout=1)
                break
            except OSError:
                time.sleep(0.1)
        yield f"http://localhost:{port}"
    finally:
        server.terminate()
        server.wait(timeout=10)


@pytest.fixture(scope="module")
def browser():
    with playwright.sync_playwright() as p:
        opened = p.chromium.launch(executable_path=BROWSER, args=QUIET)
        yield opened
        opened.close()


@pytest.fixture
def page(browser):
    page = browser.new_page(viewport={"width": 1280, "height": 900})
    page.console_errors = []

    def heard(message):
        # A deep link makes Streamlit look for its server below the page first: a 404 by design.
        if message.type == "error" and "status of 404" not in message.text:
            page.console_errors.append(message.text)

    page.on("console", heard)
    yield page
    page.close()


def settled(page):
    """Wait until the screen shows its picture and nothing runs any more."""
    page.wait_for_selector("[data-testid='stMain'] img", timeout=WAIT)
    page.wait_for_selector("[data-testid='stStatusWidget']", state="detached", timeout=WAIT)
    page.wait_for_timeout(300)
    page.wait_for_selector("[data-testid='stStatusWidget']", state="detached", timeout=WAIT)


def sound(page):
    """No stack trace, no picture without words, no error in the console."""
    assert page.locator("[data-testid='stException']").count() == 0
    pictures = page.locator("[data-testid='stMain'] img")
    assert pictures.count() > 0
    assert all(pictures.nth(i).get_attribute("alt") for i in range(pictures.count()))
    assert page.console_errors == []


def typed(page, label, value):
    """Type a number into the field whose label begins so, as often as a person would."""
    field = page.locator(f"[data-testid='stMain'] input[aria-label^='{label}']")
    for _ in range(5):
        field.fill(value)
        field.press("Enter")
        page.wait_for_timeout(1000)
        settled(page)
        # What is typed while the screen is drawn anew is lost.
        if field.input_value() and float(field.input_value()) == float(value):
            return
    raise AssertionError(f"{label} did not take {value}")


@pytest.mark.parametrize("screen", SCREENS, ids=lambda name: name or "line")
def test_screen_opens_with_its_picture(page, address, screen):
    page.goto(f"{address}/{screen}")
    settled(page)
    sound(page)
    assert page.locator("[data-testid='stHeading']").count() >= 1


@pytest.mark.parametrize("screen", WITH_SLIDERS)
def test_sliders_at_both_ends_reach_no_stack_trace(page, address, screen):
    page.goto(f"{address}/{screen}")
    settled(page)
    count = page.locator("[data-testid='stMain'] input[type='range']").count()
    assert count > 0
    for key in ("End", "Home"):
        for i in range(count):
            slider = page.locator("[data-testid='stMain'] input[type='range']")
            if i < slider.count():
                slider.nth(i).press(key)
                settled(page)
                sound(page)


def test_a_broken_file_is_refused_and_the_machine_stays(page, address, tmp_path):
    film = (ROOT / "scenarios" / "film_unwind.toml").read_text(encoding="utf-8")
    broken = tmp_path / "broken.toml"
    broken.write_text(film.replace('"1000 mm"', '"1000 kg"').replace('"4 GPa"', '"0 GPa"'))
    page.goto(address)
    settled(page)
    page.locator("[data-testid='stSidebar'] input[type='file']").set_input_files(broken)
    page.wait_for_selector("text=web.width", timeout=WAIT)
    assert page.locator("text=web.modulus").count() > 0
    sound(page)


def test_own_machine_goes_in_and_comes_out_unchanged(page, address, tmp_path):
    mine = (ROOT / "scenarios" / "foil_unwind.toml").read_text(encoding="utf-8")
    mine = "# my own remark\n" + mine.replace('title = "', 'title = "My own: ')
    path = tmp_path / "mine.toml"
    path.write_text(mine, encoding="utf-8")
    page.goto(address)
    settled(page)
    page.locator("[data-testid='stSidebar'] input[type='file']").set_input_files(path)
    page.wait_for_selector("text=My own: ", timeout=WAIT)
    settled(page)
    with page.expect_download(timeout=WAIT) as download:
        page.get_by_role("button", name="Save this machine").click()
    assert Path(download.value.path()).read_text(encoding="utf-8") == mine


def test_the_core_is_the_core_in_us_units(page, address):
    """The slider's lowest end gives the output at the core, whatever the units."""
    page.goto(f"{address}/manual-output")
    settled(page)
    page.locator("[data-testid='stSidebar'] label", has_text="US customary").click()
    page.wait_for_selector("text=Roll diameter [in]", timeout=WAIT)
    settled(page)
    film = load_scenario(ROOT / "scenarios" / "film_unwind.toml")
    core = operating_point(film, diameter=film.roll.core_diameter)
    wanted = f"{core.output:.1f} %"
    reading = page.locator("[data-testid='stMetricValue']").first
    for _ in range(20):
        # A key pressed while the screen is drawn anew is lost; a person would press it again.
        page.locator("[data-testid='stMain'] input[type='range']").nth(1).press("Home")
        page.wait_for_timeout(1500)
        if reading.inner_text().strip() == wanted:
            break
    assert reading.inner_text().strip() == wanted


def test_closer_looks_open_in_turn(page, address):
    page.goto(f"{address}/full-roll-to-core")
    settled(page)
    for name in full_roll_to_core.VIEWS:
        page.locator("[data-testid='stButtonGroup']").get_by_text(name, exact=True).click()
        settled(page)
        sound(page)
        assert page.locator("[data-testid='stAlertContentError']").count() == 0


def test_the_load_cell_from_a_drawing_to_a_checked_calibration(page, address):
    page.goto(f"{address}/load-cell")
    settled(page)
    for name in load_cell.VIEWS:
        page.locator("[data-testid='stButtonGroup']").get_by_text(name, exact=True).click()
        page.wait_for_timeout(300)
        if name != "Mounting":
            settled(page)
            sound(page)
        assert page.locator("[data-testid='stAlertContentError']").count() == 0
    main = page.locator("[data-testid='stMain']")
    page.locator("[data-testid='stButtonGroup']").get_by_text("Which way", exact=True).click()
    main.locator("label", has_text="two directions of the web").click()
    # Up, then level to the right: a quarter turn that pulls down and to the right.
    typed(page, "Towards the roller", "90")
    typed(page, "Away from the roller", "0")
    main.get_by_text("wraps the roller by 90°").wait_for(timeout=WAIT)
    main.get_by_role("button", name="Use this path, cells turned").click()
    main.get_by_role("heading", name="down and to the right (45° from level)").wait_for(
        timeout=WAIT
    )
    page.locator("[data-testid='stButtonGroup']").get_by_text("Zero and calibration").click()
    settled(page)
    # 8 kg pull with 78.45 N; the display is right.
    for label, value in (("Nothing on", "0"), ("With the weight", "78.45"), ("Weight off", "0")):
        typed(page, label, value)
    main.locator("[data-testid='stAlertContentSuccess']").wait_for(timeout=WAIT)
    sound(page)


def test_a_trend_is_dropped_read_and_followed_to_its_next_check(page, address, tmp_path):
    """A technician's file: semicolons, decimal commas, clock times, tension once a turn."""
    speed, diameter, size = 2.0, 0.5, 5.0
    turn = speed / (math.pi * diameter)
    noise = np.random.default_rng(2).standard_normal(1500)
    lines = ["clock;Tension [N];Output [%];Speed [m/min];Diameter [mm];Mode"]
    for k, more in enumerate(noise):
        t = 0.1 * k
        clock = f"07:{30 + int(t // 60):02d}:{t % 60:04.1f}"
        tension = 150.0 + size * math.sin(2.0 * math.pi * turn * t) + more
        row = f"{clock};{tension:.2f};41.0;{60 * speed:.1f};{1e3 * diameter:.0f};MAN"
        lines.append(row.replace(".", ","))
    record = tmp_path / "line 3.csv"
    record.write_text("\n".join(lines), encoding="utf-8-sig")
    main = page.locator("[data-testid='stMain']")
    page.goto(f"{address}/oscillation")
    settled(page)
    sound(page)
    main.get_by_text("a recorded trend").click()
    main.locator("input[type='file']").set_input_files(record)
    main.get_by_text("line 3.csv").first.wait_for(timeout=WAIT)
    settled(page)
    main.locator("label", has_text="Use the machine at hand").click()
    page.wait_for_timeout(500)
    settled(page)
    main.get_by_text("roll out of round").first.wait_for(timeout=WAIT)
    assert main.get_by_text(f"turns {60.0 * turn:.3g} times a minute").count() > 0
    sound(page)
    with page.expect_download(timeout=WAIT) as download:
        main.get_by_role("button", name="Save this answer").click()
    data = json.loads(Path(download.value.path()).read_text(encoding="utf-8"))
    assert data["verdict"] == "roll out of round"
    assert data["oscillation"]["frequency_Hz"] == pytest.approx(turn, rel=2e-3)


def test_a_recorded_step_test_teaches_the_machine(page, address, tmp_path):
    film = load_scenario(ROOT / "scenarios" / "film_unwind.toml")
    stiff = replace(film, web=replace(film.web, modulus=1.3 * film.web.modulus))
    record = tmp_path / "full roll.csv"
    record.write_text(step_test(stiff, runout=False).trend.to_csv(), encoding="utf-8")
    page.goto(f"{address}/full-roll-to-core")
    settled(page)
    page.locator("[data-testid='stButtonGroup']").get_by_text("Learn the machine").click()
    settled(page)
    page.get_by_text("step tests recorded on this machine").click()
    page.locator("[data-testid='stMain'] input[type='file']").set_input_files(record)
    page.get_by_text("Use the machine as learned").click(timeout=WAIT)
    page.get_by_text("Back to the machine as described").wait_for(timeout=WAIT)
    settled(page)
    sound(page)


def drill_started(page, address, title):
    page.goto(f"{address}/practice")
    page.get_by_role("button", name="Start this drill").wait_for(timeout=WAIT)
    page.get_by_text(title, exact=True).first.click()
    page.get_by_role("heading", name=title).wait_for(timeout=WAIT)
    page.get_by_role("button", name="Start this drill").click()
    page.locator(".live-view").wait_for(timeout=WAIT)
    page.wait_for_timeout(1500)


def shown(page, name):
    """A reading of the operator's panel."""
    text = page.locator(".panel-live").inner_text().replace("\N{MINUS SIGN}", "-")
    return float(re.search(name + r"\s+(-?[\d.]+)", text).group(1))


def test_a_drill_from_its_start_to_its_debrief_and_into_the_class_table(page, address, tmp_path):
    """An operator's way: one move in proportion, reading to setpoint, automatic, wait, finish."""
    drill_started(page, address, "Hand over without a bump")
    assert "MANUAL" in page.locator(".panel-live").inner_text()
    output, tension = shown(page, "Output"), shown(page, "Tension")
    aim = output * 150.0 / tension
    entry = page.locator("input[aria-label^='Output']")
    entry.click()
    # Typed slowly, while the bench goes on: nothing is lost.
    entry.press_sequentially(f"{aim:.1f}", delay=250)
    assert entry.input_value() == f"{aim:.1f}"
    entry.press("Enter")
    page.wait_for_timeout(1500)
    assert shown(page, "Output") == pytest.approx(aim, abs=0.06)
    page.get_by_text("5×", exact=True).click()
    page.wait_for_timeout(3000)
    page.get_by_text("1×", exact=True).click()
    page.wait_for_timeout(600)
    page.get_by_role("button", name="Setpoint = reading").click()
    page.wait_for_timeout(600)
    page.get_by_role("button", name="Automatic", exact=True).click()
    page.wait_for_timeout(600)
    assert "AUTO" in page.locator(".panel-live").inner_text()
    page.get_by_text("5×", exact=True).click()
    page.get_by_text("held 10 of 10 s").wait_for(timeout=WAIT)
    page.get_by_role("button", name="Finish").click()
    settled(page)
    sound(page)
    verdict = page.get_by_role("heading", name="of 100").inner_text()
    assert int(verdict.split()[0]) >= 80, verdict
    assert "Goal reached" in verdict
    assert page.get_by_text("Ideal operator", exact=True).count() == 1
    with page.expect_download() as waiting:
        page.get_by_role("button", name="Save the log").click()
    log = tmp_path / "seat 7.json"
    waiting.value.save_as(log)
    assert json.loads(log.read_text(encoding="utf-8"))["version"] == 1
    page.get_by_role("button", name="Another drill").click()
    page.get_by_text("For the instructor: assignments").click()
    page.locator("input[type='file'][accept*='json']").set_input_files(log)
    page.get_by_text("reached the goal, median score").wait_for(timeout=WAIT)
    table = page.locator("[data-testid='stTable']").inner_text()
    assert "seat 7" in table and verdict.split()[0] in table
    page.get_by_role("button", name="Open the debrief").click()
    settled(page)
    assert page.get_by_role("heading", name="of 100").inner_text() == verdict
    sound(page)


@pytest.mark.parametrize(("width", "height"), [(1366, 768), (1024, 768)])
def test_the_live_bench_stands_still_on_a_small_screen(page, address, width, height):
    """All controls and readings above the fold, and none of them moves while it runs."""
    page.set_viewport_size({"width": width, "height": height})
    drill_started(page, address, "The loop starts to ring")

    def places():
        found = page.locator("[data-testid='stMain'] button, .panel-live .name, .live-view svg")
        return [(round(b["x"]), round(b["y"])) for b in map(bounds, found.all()) if b]

    def bounds(element):
        return element.bounding_box()

    first = places()
    assert len(first) > 20
    page.wait_for_timeout(4000)
    assert places() == first
    view = page.locator(".live-view").bounding_box()
    assert view["y"] + view["height"] <= height
    assert page.evaluate("document.scrollingElement.scrollWidth") <= width
    # To manual stops the swing's source; pause stops the time, and both at once.
    page.get_by_role("button", name="Manual", exact=True).click()
    page.wait_for_timeout(1000)
    assert "MANUAL" in page.locator(".panel-live").inner_text()
    page.get_by_text("Pause", exact=True).click()
    page.wait_for_timeout(1000)
    before = page.locator(".live-view").inner_html()
    page.wait_for_timeout(1000)
    assert page.locator(".live-view").inner_html() == before
    page.get_by_role("button", name="Step 0.5 s").click()
    page.wait_for_timeout(1000)
    assert page.locator(".live-view").inner_html() != before
    page.get_by_role("button", name="Leave").click()
    page.get_by_role("button", name="Start this drill").wait_for(timeout=WAIT)
    assert page.console_errors == []
