"""How long the dashboard takes until its first page is there, from a cold start and in a process that has begun.

The page is run as streamlit runs it, without the browser, which draws what it is sent in a few tenths of a second more.
The bare page beside it, two lines of streamlit, is what the library itself takes.
"""

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SHEET = ROOT / "sample_signals" / "pier_3_shale" / "sheet.toml"

RUN = """
import sys
from streamlit.testing.v1 import AppTest
page = AppTest.from_file(sys.argv[1], default_timeout=120).run()
assert not page.exception, page.exception
assert page.html or page.markdown
"""


@pytest.fixture
def bare(tmp_path):
    page = tmp_path / "bare.py"
    page.write_text("import streamlit as st\nst.markdown('bare')\n")
    return page


@pytest.mark.benchmark(group="first paint, cold")
@pytest.mark.parametrize("whose", ["bare", "dashboard"])
def test_first_page_from_a_cold_start(benchmark, bare, whose):
    page = bare if whose == "bare" else ROOT / "dashboard" / "app.py"
    words = [sys.executable, "-c", RUN, str(page)]
    kept = {"cwd": ROOT, "check": True, "capture_output": True, "env": os.environ | {"DYNTEST_SHEET": str(SHEET)}}
    benchmark.pedantic(subprocess.run, (words,), kept, rounds=3)


@pytest.mark.benchmark(group="first paint, warm")
def test_first_page_of_another_session(benchmark, monkeypatch):
    from streamlit.testing.v1 import AppTest

    monkeypatch.setenv("DYNTEST_SHEET", str(SHEET))

    def open_page():
        return AppTest.from_file(str(ROOT / "dashboard" / "app.py"), default_timeout=120).run()

    open_page()
    assert not benchmark.pedantic(open_page, rounds=3).exception
