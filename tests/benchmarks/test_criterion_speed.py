"""How long setup and the whole driving criterion of one test pile take once its blows are matched."""

from dyntest.reviewing.review import conclude


def test_criterion_after_matching(benchmark, reviewed_sample):
    reviewed = reviewed_sample("pier_2_clay")
    again = benchmark(conclude, reviewed.sheet, reviewed.drives)
    assert again.answers.criterion.rows
