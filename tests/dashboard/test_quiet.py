"""What the dashboard must not do: pickle, speak to others, tell its inside, or use words that only insiders know."""

import re
import tomllib

import pytest

from dashboard.__main__ import OPTIONS


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
    assert OPTIONS["client.showErrorDetails"] == config["client"]["showErrorDetails"] == "none"
    assert OPTIONS["server.maxUploadSize"] == str(config["server"]["maxUploadSize"])
    assert OPTIONS["runner.magicEnabled"] == str(config["runner"]["magicEnabled"]).lower() == "false"


def test_colours_of_the_pages_are_those_of_the_figures(config):
    from dyntest.presenting import palette

    for ground in palette.GROUNDS:
        theme = config["theme"][ground]
        assert theme["backgroundColor"] == palette.GROUNDS[ground]
        assert theme["textColor"] == palette.on(ground, palette.INK)
        assert theme["primaryColor"] == palette.on(ground, palette.ACCENT)


def test_the_entry_only_routes(sources):
    assert sources["app.py"].count("\n") < 30 and "def " not in sources["app.py"]


def test_pages_compute_nothing(sources):
    arithmetic = re.compile(r"np\.(?!array\b|asarray\b|flatnonzero\b|ndarray\b|abs\b|max\b)\w+\(")
    views = {name: text for name, text in sources.items() if name.startswith("views/")}
    assert {name: arithmetic.findall(text) for name, text in views.items() if arithmetic.search(text)} == {}


def test_no_page_asks_the_network(sources):
    assert {name for name, text in sources.items() if re.search(r"https?://(?!127\.0\.0\.1)", text)} == set()
