"""After an interrupt no other drive is begun, and progress says what is left."""

import io
import sys
from types import SimpleNamespace

import pytest

from dyntest import cli
from dyntest.reviewing import review


@pytest.mark.parametrize(("complete", "begun"), [(True, ["a", "b", "c"]), (False, ["a"])])
def test_an_interrupt_leaves_the_other_drives_as_they_are(monkeypatch, complete, begun):
    seen = []

    def every(sheet, drive, executor, tell):
        seen.append(drive.name)
        return SimpleNamespace(name=drive.name, every=SimpleNamespace(complete=complete))

    monkeypatch.setattr(review, "_every", every)
    drives = [SimpleNamespace(name=name, every=None) for name in "abc"]
    done = review._all_blows(None, drives, None, None)
    assert seen == begun
    assert [drive.name for drive in done] == ["a", "b", "c"]


def test_progress_says_how_long_the_rest_takes(monkeypatch):
    class Terminal(io.StringIO):
        def isatty(self):
            return True

    now = iter([100.0, 101.0, 110.0])
    monkeypatch.setattr(sys, "stderr", Terminal())
    monkeypatch.setattr(cli.time, "monotonic", lambda: next(now))
    with cli._Progress() as progress:
        progress("matching", 0.1)
        assert "left" not in sys.stderr.getvalue()  # a second tells nothing yet
        progress("matching", 0.2)
        assert "about 40 s left" in sys.stderr.getvalue()
