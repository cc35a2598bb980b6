"""What the engineer chose, as a table that a person reads."""

import pandas as pd

from dyntest.names import show
from dyntest.reading.sheet_parts import TestSheet


def choice_rows(sheet: TestSheet) -> pd.DataFrame:
    """Give the choices of a sheet that differ from leaving everything to the rules.

    Parameters
    ----------
    sheet : TestSheet
        The sheet.

    Returns
    -------
    pandas.DataFrame
        Columns `choice` and `value`, both text; no row where nothing was chosen.

    Examples
    --------
    See ``tests/presenting/test_choices_words.py``; a sheet is needed.
    """
    chosen, rows = sheet.choices, []
    rows += [(f"blow that stands for {name.replace('_', ' ')}", f"{blow}") for name, blow in chosen.blow.items()]
    if chosen.damping_factor is not None:
        rows.append(("Case damping factor", show("damping_factor", chosen.damping_factor, sheet.display_units)))
    if chosen.leave_out:
        rows.append(("gauges left out", ", ".join(chosen.leave_out)))
    if chosen.low_pass is not None:
        rows.append(("low-pass filter", f"{chosen.low_pass:,.0f} Hz"))
    if chosen.align:
        rows.append(("lag between strain and acceleration", "corrected"))
    if chosen.soil_law != "best":
        rows.append(("soil law for matching", chosen.soil_law))
    if chosen.verification is not None:
        rows.append(("how the resistance is verified", chosen.verification))
    if chosen.setup_credit is not None:
        rows.append(("setup that a restrike measured", "counted on" if chosen.setup_credit else "not counted on"))
    return pd.DataFrame(rows, columns=["choice", "value"])
