"""Setup and its time law against published values."""

import numpy as np
import pytest
from geotech_references.gec_12.tables import table_7_16_soil_setup_factor

from dyntest.decisions.estimate import exactly
from dyntest.decisions.setup import PUBLISHED_SETUP_FACTORS
from dyntest.decisions.time_law import PUBLISHED_RATES, REFERENCE_TIMES, fit_time_law, resistance_after

DAY = 86400.0


@pytest.mark.parametrize("soil", PUBLISHED_SETUP_FACTORS)
def test_setup_factors_as_in_fhwa_table_7_16(soil):
    """FHWA-NHI-16-009 (2016), Table 7-16, after Rausche et al. (1996)."""
    table = table_7_16_soil_setup_factor(soil)
    assert PUBLISHED_SETUP_FACTORS[soil] == (table["range_min"], table["range_max"])


# Skov & Denver (1988): sand t0 = 0.5 day, A = 0.2; clay t0 = 1 day, A = 0.6 (times from memory after the paper, rates
# confirmed by FHWA-NHI-16-009, chapter 7). The ratios are arithmetic of the printed law, to four decimals.
SKOV_DENVER = {
    "clay": {7: 1.5071, 14: 1.6877, 28: 1.8683},
    "sand": {1: 1.0602, 7: 1.2292, 14: 1.2894, 28: 1.3496},
}


@pytest.mark.parametrize("soil", SKOV_DENVER)
def test_the_law_of_skov_and_denver(soil):
    """From the reference time and the last day, without anything assumed of the soil, the law finds A and every day."""
    days, ratios = np.array(list(SKOV_DENVER[soil])), np.array(list(SKOV_DENVER[soil].values()))
    start = REFERENCE_TIMES[soil] / DAY
    law = fit_time_law(np.array([start, days[-1]]) * DAY, [exactly(1.0e6), exactly(ratios[-1] * 1.0e6)])
    assert law.line[1] / 1.0e6 == pytest.approx(PUBLISHED_RATES[soil], abs=1e-4)
    assert resistance_after(law, days * DAY).value / 1.0e6 == pytest.approx(ratios, abs=1e-4)


@pytest.mark.parametrize("soil", SKOV_DENVER)
def test_drives_that_follow_the_published_law_keep_the_published_rate(soil):
    days = np.array([REFERENCE_TIMES[soil] / DAY, *SKOV_DENVER[soil]])
    ratios = np.array([1.0, *SKOV_DENVER[soil].values()])
    law = fit_time_law(days * DAY, [exactly(1.0e6 * ratio) for ratio in ratios], soil)
    assert law.rate.value == pytest.approx(PUBLISHED_RATES[soil], abs=1e-3)


def test_army_engineers_rule_for_production_restrikes():
    """US Army Corps of Engineers, EI 02G001 (1997), 4-2c: change above 25 % after more than 16 hours."""
    from datetime import datetime, timedelta

    from dyntest.decisions.setup import DriveResult, compare
    from dyntest.reading.parts import Drive

    end = datetime(2026, 5, 4)

    def asked(share, hours):
        initial = DriveResult(Drive("initial", "initial", (), end=end), matched_resistance=exactly(1.0e6))
        start = end + timedelta(hours=hours)
        later = Drive("restrike", "restrike", (), start=start)
        setup = compare(initial, DriveResult(later, matched_resistance=exactly(share * 1.0e6)))
        return "large change" in [caution.kind for caution in setup.cautions]

    assert asked(1.26, 17)
    assert asked(0.74, 17)
    assert not asked(1.24, 17)
    assert not asked(1.26, 16)
