"""How long the pages take in a browser, as multiples of what Streamlit itself takes in the same run.

Run: python tests/benchmarks/dashboard_speed.py [ROUNDS]. Two servers are started: the dashboard on the sample of 804
blows, and a page of Streamlit alone with one button that draws one line chart of 2,000 points again. A redraw is the
time from the key or click to the last change of the page, which is followed by rest. Medians are given.
"""

import os
import shutil
import signal
import socket
import statistics
import subprocess
import sys
import tempfile
import threading
import time
import urllib.request
from pathlib import Path

ROOT = Path(__file__).parents[2]
SHEET = ROOT / "sample_signals" / "pier_2_clay" / "sheet.toml"
CHROMIUM = shutil.which("chromium") or shutil.which("google-chrome") or ""
SWITCHES = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update"]

LONGEST_START = 120.0
"""Longest that a server may take to start [s]."""

BARE = """
import numpy as np
import streamlit as st

if "n" not in st.session_state:
    st.session_state["n"] = 0
st.html('<h1 class="dyntest-question">bare</h1>')
if st.button("again", key="again"):
    st.session_state["n"] += 1
st.line_chart(np.sin(np.linspace(0, 20, 2000) + st.session_state["n"]))
st.html('<div class="dyntest-foot">end</div>')
"""

EMPTY = "import streamlit as st\nst.html('<h1 class=\"dyntest-question\">empty</h1>')\n"

MEASURE = """
() => new Promise((resolve) => {
  const main = document.querySelector('[data-testid=stApp]');
  const begun = performance.now();
  let first = null, last = null;
  const watch = new MutationObserver(() => { last = performance.now(); first = first ?? last; });
  watch.observe(main, {subtree: true, childList: true, attributes: true, characterData: true});
  const look = setInterval(() => {
    const now = performance.now();
    const rests = main.dataset.testScriptState === 'notRunning' && !document.querySelector('[data-stale=true]');
    if ((last !== null && rests && now - last > 500) || now - begun > 20000) {
      clearInterval(look);
      watch.disconnect();
      resolve([first === null ? NaN : first - begun, last === null ? NaN : last - begun]);
    }
  }, 20);
  window.actNow();
})
"""


def serve(command: list[str], port: int, **more: str) -> subprocess.Popen:
    """Start a server and wait until it answers."""
    here = os.pathsep.join([str(ROOT), os.environ.get("PYTHONPATH", "")])
    server = subprocess.Popen(
        command,
        env={**os.environ, "PYTHONPATH": here, **more},
        start_new_session=True,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    begun, pause = time.monotonic(), threading.Event()
    while time.monotonic() - begun < LONGEST_START:
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{port}/_stcore/health", timeout=5) as answer:
                if answer.status == 200:
                    return server
        except OSError:
            pause.wait(0.2)
    raise TimeoutError("the server did not answer")


def free_port() -> int:
    """A port that nothing listens on."""
    with socket.socket() as trial:
        trial.bind(("127.0.0.1", 0))
        return trial.getsockname()[1]


def bare_server(folder: Path, text: str) -> tuple[subprocess.Popen, int]:
    """Streamlit alone on a page."""
    page, port = folder / f"page{free_port()}.py", free_port()
    page.write_text(text)
    command = [sys.executable, "-m", "streamlit", "run", str(page), "--server.headless=true"]
    command += [f"--server.port={port}", "--server.address=127.0.0.1", "--browser.gatherUsageStats=false"]
    return serve(command, port), port


def opened(browser, address: str) -> float:
    """Time until the question is seen in a new window [s]."""
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    page = context.new_page()
    begun = time.perf_counter()
    page.goto(address)
    page.wait_for_selector(".dyntest-question")
    taken = time.perf_counter() - begun
    context.close()
    return taken


def redraws(page, act: str, rounds: int) -> tuple[float, float]:
    """Medians of the first and the last change after an action [s]."""
    firsts, lasts = [], []
    for _ in range(rounds):
        page.evaluate("text => { window.actNow = new Function(text) }", act)
        first, last = page.evaluate(MEASURE)
        firsts.append(first / 1e3)
        lasts.append(last / 1e3)
    return statistics.median(firsts), statistics.median(lasts)


def main(rounds: int) -> None:
    """Measure and print."""
    from playwright.sync_api import sync_playwright

    folder = Path(tempfile.mkdtemp(prefix="dyntest-speed-"))
    shutil.copytree(SHEET.parent, folder / "sample", ignore=shutil.ignore_patterns("review"))
    servers = []
    try:
        port = free_port()
        sheet = str(folder / "sample" / "sheet.toml")
        command = [sys.executable, "-m", "dyntest.cli", "dashboard", sheet, "--port", str(port), "--no-browser"]
        servers.append(serve(command, port))
        bare, bare_port = bare_server(folder, BARE)
        empty, empty_port = bare_server(folder, EMPTY)
        servers += [bare, empty]
        with sync_playwright() as started:
            browser = started.chromium.launch(executable_path=CHROMIUM, args=SWITCHES)
            report(browser, rounds, *(f"http://127.0.0.1:{one}" for one in (port, bare_port, empty_port)))
            browser.close()
    finally:
        for server in servers:
            os.killpg(server.pid, signal.SIGTERM)
        shutil.rmtree(folder, ignore_errors=True)


KEY = "document.dispatchEvent(new KeyboardEvent('keydown', {key: '%s', bubbles: true}))"
SLIDE = """
const input = document.querySelector('.st-key-resistance_factor input[type=range]');
input.focus();
input.dispatchEvent(new KeyboardEvent('keydown', {key: 'ArrowLeft', code: 'ArrowLeft', bubbles: true}));
const set = Object.getOwnPropertyDescriptor(HTMLInputElement.prototype, 'value').set;
set.call(input, String(Number(input.value) - Number(input.step || 0.01)));
input.dispatchEvent(new Event('input', {bubbles: true}));
input.dispatchEvent(new Event('change', {bubbles: true}));
input.dispatchEvent(new KeyboardEvent('keyup', {key: 'ArrowLeft', code: 'ArrowLeft', bubbles: true}));
"""


def report(browser, rounds: int, served: str, bare: str, empty: str) -> None:
    """Print every time and its ratio."""
    opened(browser, served)  # what the first visit loads is not counted
    empty_opened = statistics.median(opened(browser, empty) for _ in range(rounds))
    ours_opened = statistics.median(opened(browser, served) for _ in range(rounds))
    page = browser.new_context(viewport={"width": 1280, "height": 900}).new_page()
    page.goto(bare)
    page.wait_for_selector(".dyntest-foot")
    page.wait_for_selector("svg.marks, canvas")
    click = "document.querySelector('.st-key-again button').click()"
    redraws(page, click, 2)
    _, own = redraws(page, click, rounds)
    print(f"Streamlit's own redraw of one chart of 2,000 points: {1e3 * own:.0f} ms (median of {rounds})")
    print(f"question after opening: {1e3 * ours_opened:.0f} ms, {ours_opened / empty_opened:.2f} times an empty page")

    page = browser.new_context(viewport={"width": 1280, "height": 900}).new_page()
    for name, question in (("trust", "record"), ("resistance", "resistance"), ("hammer", "hammer")):
        page.goto(f"{served}/{name}")
        page.wait_for_selector(".dyntest-foot")
        page.wait_for_selector("svg.dyntest-record path")
        redraws(page, KEY % "ArrowLeft", 3)
        first, last = redraws(page, KEY % "ArrowLeft", rounds)
        told = f"blow by key, {question} page: record {1e3 * first:.0f} ms ({first / own:.2f} times),"
        print(f"{told} all charts {1e3 * last:.0f} ms ({last / own:.2f} times)")
    page.goto(f"{served}/resistance")
    page.wait_for_selector(".st-key-resistance_factor input[type=range]")
    redraws(page, SLIDE, 2)
    _, last = redraws(page, SLIDE, rounds)
    print(f"J: {1e3 * last:.0f} ms ({last / own:.2f} times)")
    for title in ("Hammer", "Setup", "Criterion", "Record", "Resistance"):
        others = "Pile" if title != "Pile" else "Record"
        go = "[...document.querySelectorAll('.st-key-pages a')].find(a => a.innerText.includes('%s')).click()"
        taken = []
        for _ in range(max(3, rounds // 2)):
            redraws(page, go % others, 1)
            taken.append(redraws(page, go % title, 1)[1])
        last = statistics.median(taken)
        print(f"to {title}: {1e3 * last:.0f} ms ({last / own:.2f} times)")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 10)
