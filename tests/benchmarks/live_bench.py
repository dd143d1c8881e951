"""How the live bench of Practice holds up in real browsers; run by hand, not in the test run.

    python tests/benchmarks/live_bench.py [BROWSERS] [MINUTES]

Starts the app and so many browsers (4) in the free run for so long (1 minute), and prints for each
half minute: updates a second in each browser, how long a click takes to show (pressed to seen, in
the first browser), memory of the server and of the first page. Needs a Chromium and playwright.
"""

import shutil
import socket
import statistics
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import psutil
from playwright.sync_api import sync_playwright

ROOT = Path(__file__).resolve().parents[2]
QUIET = ["--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking"]
# Counts how often the view has changed; changes within a tenth of a second are one.
COUNT = """() => {
  window.seen = 0; let last = 0;
  if (window.watching) window.watching.disconnect();
  window.watching = new MutationObserver(() => {
    const now = performance.now(); if (now - last > 100) window.seen++; last = now;
  });
  window.watching.observe(document.querySelector('.live-view').parentElement.parentElement,
             {subtree: true, childList: true, characterData: true, attributes: true});
}"""
# Pushes a button and waits until the output's reading is another [ms].
CLICK = """name => new Promise(done => {
  const output = () => [...document.querySelectorAll('.panel-live .rest > div')]
    .find(e => e.innerText.startsWith('Output')).innerText;
  const was = output(), at = performance.now();
  const id = setInterval(() => { const gone = performance.now() - at;
    if (output() != was || gone > 5000) { clearInterval(id); done(gone); } }, 4);
  [...document.querySelectorAll('button')].find(e => e.innerText.trim() == name).click();
})"""


def started():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    server = subprocess.Popen(
        [sys.executable, "-m", "streamlit", "run", "app.py", "--server.headless", "true",
         "--server.port", str(port)], cwd=ROOT, stdout=subprocess.DEVNULL,
    )  # fmt: skip
    address = f"http://localhost:{port}"
    for _ in range(300):
        try:
            urllib.request.urlopen(f"{address}/_stcore/health", timeout=1)
            break
        except OSError:
            time.sleep(0.1)
    return server, address


def free_run(p, address):
    path = shutil.which("chromium") or shutil.which("chromium-browser")
    page = p.chromium.launch(executable_path=path, args=QUIET).new_page(
        viewport={"width": 1366, "height": 768}
    )
    page.goto(f"{address}/practice")
    page.get_by_text("Free run, no task", exact=True).click(timeout=60_000)
    page.get_by_role("heading", name="Free run").wait_for()
    page.get_by_role("button", name="Start this drill").click()
    page.locator(".live-view").wait_for(timeout=60_000)
    return page


def main(browsers=4, minutes=1.0):
    server, address = started()
    memory = psutil.Process(server.pid).memory_info
    try:
        with sync_playwright() as p:
            pages = [free_run(p, address) for _ in range(browsers)]
            time.sleep(3.0)
            heap = pages[0].context.new_cdp_session(pages[0])
            heap.send("Performance.enable")
            for half in range(round(2 * minutes)):
                for page in pages:
                    page.evaluate(COUNT)
                begun, clicks = time.monotonic(), []
                while time.monotonic() - begun < 30.0:
                    name = "+1" if len(clicks) % 2 == 0 else "\N{MINUS SIGN}1"
                    clicks.append(pages[0].evaluate(CLICK, name))
                    time.sleep(1.3)
                gone = time.monotonic() - begun
                rates = [page.evaluate("window.seen") / gone for page in pages]
                metrics = heap.send("Performance.getMetrics")["metrics"]
                used = next(m["value"] for m in metrics if m["name"] == "JSHeapUsedSize")
                print(
                    f"{(half + 1) / 2:4.1f} min  updates/s "
                    + " ".join(f"{rate:.2f}" for rate in rates)
                    + f"  click {statistics.median(clicks):.0f} ms, at most {max(clicks):.0f} ms"
                    f"  server {memory().rss / 1e6:.0f} MB  page {used / 1e6:.0f} MB",
                    flush=True,
                )
    finally:
        server.terminate()


if __name__ == "__main__":
    main(*(int(a) if i == 0 else float(a) for i, a in enumerate(sys.argv[1:])))
