"""How long the report of a test takes after it has been worked out, its figures included."""

from pathlib import Path

import pytest

from dyntest.presenting.report import report_pdf
from dyntest.reviewing.review import review

SHEET = Path(__file__).parents[2] / "sample_signals" / "pier_2_clay" / "sheet.toml"


@pytest.fixture(scope="module")
def reviewed():
    return review(SHEET)


def test_report(benchmark, reviewed):
    pdf = benchmark.pedantic(report_pdf, (reviewed,), rounds=3)
    assert pdf.startswith(b"%PDF")
