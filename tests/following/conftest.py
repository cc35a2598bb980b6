"""A recorder at work, and a follower that looks at what it writes."""

import importlib.util
from pathlib import Path

import pytest

from dyntest.following.follow import Follower
from dyntest.reading.sheet import read_sheet


def _replay():
    spec = importlib.util.spec_from_file_location("following_replay", Path(__file__).parent / "replay.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module.Replay


@pytest.fixture(scope="session")
def replay_class():
    return _replay()


@pytest.fixture
def recorder(tmp_path, replay_class):
    """A recorder with the first 12 blows of a sample."""
    return replay_class(tmp_path, blows=12)


@pytest.fixture
def followed():
    """Start a follower on what a recorder writes, as the command does; started again it goes on."""

    def start(recorder, every: int = 0) -> Follower:
        sheet = read_sheet(recorder.sheet, recorded=False)
        return Follower(sheet, sheet.drives[-1], every=every)

    return start


@pytest.fixture
def take():
    """Look until nothing is left to be settled."""

    def looks(follower, times: int = 2) -> list:
        found = []
        for _ in range(times):
            found += follower.look()
        return found

    return looks
