"""A drive replayed, followed by the command and looked at on the page, with depths entered as they are called out."""

import importlib.util
import os
import signal
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from dyntest.following.record import Kept, folder_of
from dyntest.reading.logs import read_driving_log
from dyntest.reading.sheet import read_sheet

ROOT = Path(__file__).parent.parent.parent
BLOWS = 30

PATIENCE = 300_000
"""How long something on the page is waited for [ms]."""


@pytest.fixture
def replayed(tmp_path):
    """A recorder that writes blows ten times faster than they were driven, and the command that follows it."""
    pytest.importorskip("watchfiles")
    spec = importlib.util.spec_from_file_location("replay_in_browser", ROOT / "tests" / "following" / "replay.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    recorder, stop = module.Replay(tmp_path / "followed", blows=BLOWS), threading.Event()
    command = [sys.executable, "-m", "dyntest.cli", "follow", str(recorder.sheet), "--every", "0"]
    heard = {"preexec_fn": lambda: signal.signal(signal.SIGINT, signal.default_int_handler)}
    follower = subprocess.Popen(command, cwd=ROOT, stdout=subprocess.DEVNULL, **heard)
    writer = threading.Thread(target=lambda: list(recorder.run(10.0, stop)))
    writer.start()
    yield recorder
    stop.set()
    writer.join()
    os.kill(follower.pid, signal.SIGINT)
    assert follower.wait() == 0


def _below(page, what) -> float:
    """How far below the question something stands [pixels]."""
    return what.bounding_box()["y"] - page.locator(".dyntest-question").bounding_box()["y"]


def test_a_replayed_drive_is_on_the_page_with_the_depths_that_are_entered(
    replayed, serve_another, chromium, tmp_path, until
):
    sheet = read_sheet(replayed.sheet, recorded=False)
    folder = folder_of(sheet, "initial")
    until(lambda: Kept(folder).look().last, "a blow")
    served = tmp_path / "served_live"
    served.mkdir()
    with serve_another(served, replayed.sheet) as address:
        page = chromium.new_page(viewport={"width": 1280, "height": 900})
        page.set_default_timeout(PATIENCE)
        problems: list[str] = []
        page.on("pageerror", lambda error: problems.append(str(error)))
        page.goto(f"{address}/live")
        page.locator(".live-tile", has_text="Case resistance").first.wait_for()
        step = page.locator(".st-key-live_step_F button:visible").first
        for key in ("live_depth", "live_remark"):  # the row is as high as it will be
            page.locator(f".st-key-{key} input").wait_for()
        place = _below(page, step)
        step.click()
        until(lambda: len(Kept(folder).look().depths) == 1, "a depth")
        page.locator(".live-tile", has_text="31.0 ft").first.wait_for()
        field = page.locator(".st-key-live_depth input")
        until(lambda: field.input_value() == "31.00", "the depth in the field that goes on from it")
        page.locator(".live-tile .name", has_text=f"Blow {BLOWS}").first.wait_for()
        page.locator(".st-key-live_step_I button:visible").first.click()
        until(lambda: len(Kept(folder).look().depths) == 2, "another depth")
        until(lambda: field.input_value() == "31.08", "the next depth in the field")
        page.get_by_text("Correct a depth", exact=True).click()
        for key, number in (("live_right", "31.5"), ("live_count", "0")):
            page.locator(f".st-key-{key} input").fill(number)
            page.locator(f".st-key-{key} input").press("Enter")
        page.locator(".st-key-live_correct button:visible").first.click()
        until(lambda: page.locator(".st-key-live_count input").input_value() == "", "an empty field for the next mark")
        page.locator("td", has_text="31.5 ft").first.wait_for()
        assert _below(page, step) == place  # a click must not miss what an alarm or another tile has moved
        assert place < _below(page, page.locator(".live-top"))
        assert problems == [] and page.locator("[data-testid=stException]").count() == 0
        page.close()
    log = read_driving_log(folder / "driving_log.csv")
    assert int(log.blows.sum()) == BLOWS and log.depth_from[0] == pytest.approx(30 * 0.3048)
    assert sorted(Kept(folder).look().blows) == list(range(1, BLOWS + 1))
