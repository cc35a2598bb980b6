"""How long the report of a test takes after it has been worked out, its figures included."""

from dyntest.presenting.report import report_pdf


def test_report(benchmark, reviewed_sample):
    pdf = benchmark.pedantic(report_pdf, (reviewed_sample("pier_2_clay"),), rounds=3)
    assert pdf.startswith(b"%PDF")
