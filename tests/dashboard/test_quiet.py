"""What the dashboard must not do: pickle, speak to others, tell its inside, or use words that only insiders know."""

import re
import tomllib
from pathlib import Path

import pytest
from dyntest_dashboard.__main__ import OPTIONS


@pytest.fixture(scope="module")
def sources(request):
    folder = request.config.rootpath / "dashboard"
    return {path.relative_to(folder).as_posix(): path.read_text() for path in folder.rglob("*.py")}


@pytest.fixture(scope="module")
def config(request):
    return tomllib.loads((request.config.rootpath / "dashboard" / ".streamlit" / "config.toml").read_text())


def test_nothing_is_pickled(sources):
    pickling = re.compile(r"\bcache_data\b|\bpickle\b|\bjoblib\b|\bshelve\b")
    assert {name for name, text in sources.items() if pickling.search(text)} == set()


def test_local_and_private_by_the_command_and_by_the_file_beside_the_app(config):
    assert OPTIONS["server.address"] == config["server"]["address"] == "127.0.0.1"
    assert OPTIONS["browser.gatherUsageStats"] == str(config["browser"]["gatherUsageStats"]).lower() == "false"
    assert OPTIONS["server.showEmailPrompt"] == "false"  # a first start would wait for an answer at the terminal
    assert OPTIONS["client.showErrorDetails"] == config["client"]["showErrorDetails"] == "none"
    assert OPTIONS["server.maxUploadSize"] == str(config["server"]["maxUploadSize"])
    assert OPTIONS["runner.magicEnabled"] == str(config["runner"]["magicEnabled"]).lower() == "false"


def test_no_advice_to_programmers_lies_over_the_pages(monkeypatch):
    """Streamlit asks those who have a programming assistant to install something for it, on every page."""
    from streamlit import config
    from streamlit.web import skills

    monkeypatch.setattr(skills, "agent_harness_present", lambda: True)
    monkeypatch.setattr(skills, "_nudge_dismissed_marker_path", lambda: Path("nowhere"))
    options = {**OPTIONS, "server.headless": "false"}  # as where a browser is opened
    monkeypatch.setattr(config, "get_option", lambda name: {"false": False}.get(options.get(name), options.get(name)))
    assert skills.nudge_suppression_reason() == "welcome_hidden"


def test_colours_of_the_pages_are_those_of_the_figures(config):
    from dyntest.presenting import palette

    for ground in palette.GROUNDS:
        theme = config["theme"][ground]
        assert theme["backgroundColor"] == palette.GROUNDS[ground]
        assert theme["textColor"] == palette.on(ground, palette.INK)
        assert contrast(theme["primaryColor"], "#ffffff") > 3.0, "white words on a button"
        assert contrast(theme["primaryColor"], theme["backgroundColor"]) > 3.0
    assert config["theme"]["light"]["primaryColor"] == palette.ACCENT


def contrast(one: str, other: str) -> float:
    """Contrast of two colours, WCAG 2.1 (from memory)."""

    def luminance(colour: str) -> float:
        channels = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_the_entry_only_routes(sources):
    assert sources["app.py"].count("\n") < 30 and "def " not in sources["app.py"]


def test_pages_compute_nothing(sources):
    arithmetic = re.compile(r"np\.(?!array\b|asarray\b|flatnonzero\b|ndarray\b|abs\b|max\b)\w+\(")
    views = {name: text for name, text in sources.items() if name.startswith("views/")}
    assert {name: arithmetic.findall(text) for name, text in views.items() if arithmetic.search(text)} == {}


def test_no_page_asks_the_network(sources):
    assert {
        name for name, text in sources.items() if re.search(r"https?://(?!127\.0\.0\.1|www\.w3\.org/2000/svg)", text)
    } == set()


DECIDING = {"hammer", "resistance", "setup", "criterion", "bearing_piles", "compare", "report"}
"""Pages that show what may be decided from."""


def test_every_page_that_decides_says_what_speaks_against_it(sources):
    views = {name.partition("/")[2].removesuffix(".py"): text for name, text in sources.items() if "views/" in name}
    assert {name for name, text in views.items() if "pieces.alerted(test, review" in text} == DECIDING
    assert not [name for name, text in views.items() if "alert_sentences" in text]
