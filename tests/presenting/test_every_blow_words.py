from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from dyntest.presenting.sentences import every_blow_sentences


@pytest.fixture
def make_drive():
    def make(misfit, fitted, reasons, complete):
        every = SimpleNamespace(
            total=np.ones(len(misfit)),
            misfit=np.array(misfit),
            fitted=np.array(fitted),
            reasons=reasons,
            complete=complete,
        )
        return SimpleNamespace(name="initial", every=every, table=pd.DataFrame({"blow": 10 + np.arange(len(misfit))}))

    return make


def test_nothing_is_said_where_only_one_blow_was_matched():
    assert every_blow_sentences(SimpleNamespace(every=None)) == ()


def test_blows_that_would_not_fit_are_named_by_their_numbers(make_drive):
    told = every_blow_sentences(make_drive([0.01, 0.09, 0.01], [True, False, True], {1: "too far off."}, True))
    assert told[0] == "Every blow: 2 of 3 blows fit; they are in blows_initial.csv."
    assert "11" in told[1] and "too far off" in told[1]


def test_an_interruption_is_said_first(make_drive):
    told = every_blow_sentences(make_drive([0.01, np.nan], [True, False], {}, False))
    assert told[0].startswith("INTERRUPTED: 1 of 2 blows were matched")
