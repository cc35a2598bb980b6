"""How long it takes to hold 2,000 production piles against a criterion."""

import numpy as np

from dyntest.decisions.bearing_piles import check_bearing_piles
from dyntest.decisions.criterion import Criterion, CriterionRow
from dyntest.reading.production_log import PileTable, ProductionLog


def test_two_thousand_piles(benchmark):
    piles, intervals = 2000, 60
    rng = np.random.default_rng(2)
    marks = np.repeat([f"P{number}" for number in range(piles)], intervals)
    bottom = np.tile(np.arange(1, intervals + 1) * 0.3048, piles)
    blows = rng.poisson(np.tile(np.linspace(5, 90, intervals), piles))
    stroke = rng.choice([1.8, 2.1, 2.4, 2.7, np.nan], marks.size, p=[0.1, 0.3, 0.3, 0.29, 0.01])
    empty = ("",) * marks.size
    remark = tuple("splice" if at % 97 == 0 else "" for at in range(marks.size))
    log = ProductionLog("log.csv", marks, bottom - 0.3048, bottom, blows, stroke, empty, remark)
    values = (np.full(piles, value) for value in (101.0, 100.0, 21.0, 0.1))
    table = PileTable("piles.csv", tuple(f"P{number}" for number in range(piles)), *values)
    criterion = Criterion((CriterionRow(2.1, 0.0035), CriterionRow(2.7, 0.0045)), 0.3, minimum_penetration=15.0)
    check = benchmark(check_bearing_piles, log, criterion, table, test_penetrations=(17.0,))
    assert len(check.piles) == piles
    assert check.piles["status"].nunique() > 1
