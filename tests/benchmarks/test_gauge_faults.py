"""Faults of the gauges are found at their stated strength and not raised on sound records, over invented piles.

The whole table: ``python tests/benchmarks/gauge_fault_table.py``.
"""

import importlib
from pathlib import Path

import pytest

pytestmark = pytest.mark.sweep

PILES, SEED = 10, 11

LEFT = {"strain late": 0.85}
"""Faults that are found less often where a diesel's gas comes before the impact, with the least share [1]."""

FALSE_LAG = 0.05
"""Greatest share of sound blows on which a lag is raised [1]: the gas makes the first rise of some unclear."""


@pytest.fixture(scope="module")
def counted():
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(Path(__file__).parent)
        table = importlib.import_module("gauge_fault_table")
        return table, *table.count(PILES, SEED)


def test_each_fault_is_found_at_its_stated_strength(counted):
    table, rows, _ = counted
    stated = {fault.name: share for fault, strength, share, judged in rows if strength == fault.stated and judged}
    assert len(stated) >= len(table.faults()) - 2  # among few piles none may show a clear return from the toe
    least = dict.fromkeys(stated, table.FOUND_AT_LEAST - 0.05) | LEFT  # a little less, for there are few blows
    assert {name: share for name, share in stated.items() if share < least[name]} == {}
    others = [share for name, share in stated.items() if name not in LEFT]
    assert sum(others) / len(others) > table.FOUND_AT_LEAST


def test_a_weaker_fault_than_the_limit_is_not_raised(counted):
    _, rows, _ = counted
    weak = {
        fault.name: share
        for fault, strength, share, _ in rows
        if fault.check in ("noisy channel", "offset channel", "spikes", "strain not returning")
        and strength == fault.strengths[0]
    }
    assert max(weak.values()) < 0.05


def test_sound_records_raise_nothing(counted):
    table, _, false = counted
    gauges = {check: share for check, (share, _) in false.items() if check not in table.NO_FAULT}
    most = dict.fromkeys(gauges, table.FALSE_AT_MOST) | {"lag": FALSE_LAG}
    assert {check: share for check, share in gauges.items() if share > most[check]} == {}
