"""The dashboard as it is used: started by its command and looked at in Chromium."""

import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent.parent
SAMPLE = ROOT / "sample_signals" / "pier_3_shale"

CHROMIUM = next(
    (path for name in ("chromium", "chromium-browser", "google-chrome") if (path := shutil.which(name))), None
)
SWITCHES = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update"]

PATIENCE = 300_000
"""How long something on a page is waited for [ms]; a shared machine may be slow."""

AT_REST = """() => {
  const app = document.querySelector('[data-testid=stApp]');
  const drawn = app && app.dataset.testScriptState === 'notRunning' && document.querySelector('.dyntest-foot')
    && !document.querySelector('[data-stale=true]') && !document.querySelector('[data-testid=stStatusWidget]');
  window.seenAtRest = drawn ? (window.seenAtRest || 0) + 1 : 0;
  return window.seenAtRest > 4;
}"""
"""Whether the page was found drawn, and its script at rest, time after time."""


@contextmanager
def serving(folder: Path, until: Callable, followed: Path | None = None) -> Iterator[str]:
    """Serve a copy of a sample, or a sheet that is followed, by the command; give its address.

    Left, the server is interrupted as from the keyboard. It must go soon and leave no uploaded file behind.
    """
    sheet, passing = folder / "served" / "sheet.toml", folder / "passing"
    passing.mkdir()
    shutil.copytree(SAMPLE, sheet.parent, ignore=shutil.ignore_patterns("review"))
    with socket.socket() as trial:
        trial.bind(("127.0.0.1", 0))
        port = trial.getsockname()[1]
    command = [
        sys.executable,
        "-m",
        "dyntest.cli",
        "dashboard",
        str(followed or sheet),
        "--port",
        str(port),
        "--no-browser",
    ]
    here = os.pathsep.join([str(ROOT), os.environ.get("PYTHONPATH", "")])
    inside = {**os.environ, "PYTHONPATH": here, "TMPDIR": str(passing)}
    heard = {
        "preexec_fn": lambda: signal.signal(signal.SIGINT, signal.default_int_handler)
    }  # else not, in a background
    server = subprocess.Popen(command, env=inside, start_new_session=True, **heard)
    try:
        until(lambda: _answers(server, f"http://127.0.0.1:{port}"), "the server's answer")
        yield f"http://127.0.0.1:{port}"
    finally:
        os.killpg(server.pid, signal.SIGINT)
        try:
            left = server.wait(PATIENCE / 1000)
        except subprocess.TimeoutExpired:
            os.killpg(server.pid, signal.SIGKILL)
            server.wait()
            raise
    assert left == 0
    assert [path.name for path in passing.glob("dyntest-*")] == [], "uploads were left behind"


@pytest.fixture(scope="session")
def address(tmp_path_factory, until) -> Iterator[str]:
    """Where the dashboard of most tests is served."""
    with serving(tmp_path_factory.mktemp("dashboard"), until) as served:
        yield served


@pytest.fixture
def serve_another(until) -> Callable:
    """Give `serving`, for a test that needs a server of its own."""
    return lambda folder, followed=None: serving(folder, until, followed)


def _answers(server: subprocess.Popen, served: str) -> bool:
    assert server.poll() is None, "the server stopped by itself"
    try:
        with urllib.request.urlopen(f"{served}/_stcore/health", timeout=60) as answer:
            return answer.status == 200
    except OSError:
        return False


@pytest.fixture(scope="session")
def chromium():
    """A browser; without one these tests are left out, and say so."""
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    if CHROMIUM is None:
        pytest.skip("no Chromium is installed")
    with playwright.sync_playwright() as started:
        browser = started.chromium.launch(executable_path=CHROMIUM, args=SWITCHES)
        yield browser
        browser.close()


def playwright_timeout() -> type[Exception]:
    """The browser's own kind of timeout."""
    from playwright.sync_api import TimeoutError as Late

    return Late


class Visit:
    """A person at the dashboard: pages by their names, and everything the browser complained about."""

    def __init__(self, page, address: str):
        self.page, self.address = page, address
        self.complaints: list[str] = []
        self.strangers: list[str] = []
        page.set_default_timeout(PATIENCE)
        page.on("console", lambda told: self.complaints.append(told.text) if told.type == "error" else None)
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        page.on("request", self._asked)
        page.goto(address)
        self.rest()

    def _asked(self, request) -> None:
        if not request.url.startswith((self.address, "data:", "blob:", self.address.replace("http", "ws"))):
            self.strangers.append(request.url)

    def rest(self) -> None:
        """Wait until the page has been drawn and nothing runs."""
        self.page.wait_for_selector(".dyntest-foot")
        self.page.evaluate("() => { window.seenAtRest = 0 }")
        self.page.wait_for_function(AT_REST, polling=100)

    def go_to(self, title: str, question: str) -> None:
        """Open a page by its name above; a narrow window keeps the last ones behind a word."""
        link = self.page.get_by_role("link", name=title, exact=True)
        more = self.page.get_by_text(re.compile(r"^\d+ more$"))
        for soon in [PATIENCE / 20] * 20:  # which of them show is settled after the page is drawn
            try:
                if link.count() and link.first.is_visible():
                    link.first.click(timeout=soon)
                else:
                    more.first.click(timeout=soon)
                    self.page.get_by_text(title, exact=True).last.click(timeout=soon)
                break
            except playwright_timeout():
                continue
        self.until_shown(".dyntest-question", question)
        self.rest()

    def answer(self) -> str:
        """What the page answers."""
        return self.page.locator(".dyntest-answer").first.inner_text()

    def until_shown(self, place: str, text: str) -> None:
        """Wait for a text somewhere; a page that is being drawn again may hold the old and the new one side by side."""
        self.page.locator(f"{place}:visible", has_text=text).first.wait_for()

    def type_in(self, key: str, text: str, within: str = "input") -> None:
        """Type into a field and leave it, on a page at rest: one that is being drawn again has the field twice."""
        self.rest()
        field = self.page.locator(f".st-key-{key} {within}")
        field.fill(text)
        field.press("Tab")
        self.rest()

    def enter(self, key: str, text: str, shows) -> None:
        """Type into a field until what it leads to shows: a page that is being drawn again forgets what is typed."""
        field = self.page.locator(f".st-key-{key} input")
        for _ in range(4):
            self.rest()
            field.fill(text)
            field.press("Enter")
            try:
                shows().wait_for(timeout=PATIENCE / 20)
            except playwright_timeout():
                continue
            return
        shows().wait_for()

    def button(self, key: str):
        """A button by its key; streamlit draws some twice, one of them hidden."""
        return self.page.locator(f".st-key-{key} button:visible").first


@pytest.fixture
def visit(chromium, address):
    """Open the dashboard in a window of its own."""
    contexts = []

    def open_window(width: int = 1280, ground: str = "light", at: str = address) -> Visit:
        contexts.append(
            chromium.new_context(viewport={"width": width, "height": 900}, color_scheme=ground, accept_downloads=True)
        )
        return Visit(contexts[-1].new_page(), at)

    yield open_window
    for context in contexts:
        context.close()
