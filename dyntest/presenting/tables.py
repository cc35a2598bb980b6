"""Tables of blows: the representative ones side by side in words, and all of them as CSV and Parquet.

The CSV has a unit in every header and is safe to open in a spreadsheet; Parquet has the same columns with every digit.
"""

from collections.abc import Mapping, Sequence

import pandas as pd

from dyntest.names import NAMES, column_header, display_unit, show
from dyntest.presenting.terms import drive_name
from dyntest.reviewing.drive import DriveReview


def representative_numbers(
    drives: Sequence[DriveReview], codes: Sequence[str], system: str
) -> dict[str, tuple[str, ...]]:
    """Give numbers of the representative blows as text, a text a drive; numbers that no drive has are left out."""
    known = [code for code in codes if any(code in drive.numbers for drive in drives)]
    return {code: tuple(applicable(code, drive.numbers.get(code), system) for drive in drives) for code in known}


NOT_APPLICABLE = "not applicable"
"""What stands for a static resistance by the Case method that would be negative."""

WHY_NEGATIVE = {
    **dict.fromkeys(
        ("case_resistance", "case_resistance_maximum", "case_resistance_unloading"),
        "the damping factor takes away more than the blow showed",
    ),
    "case_resistance_toe_at_rest": "the shaft unloads before the toe comes to rest",
}
"""Why a Case resistance can come out negative, by its code."""


def applicable(code: str, value: float | None, system: str) -> str:
    """Write a number with its unit; a Case resistance below zero is no resistance, and is told as not applicable.

    Units: value [N] where the code is a Case resistance.

    Examples
    --------
    >>> applicable("case_resistance_toe_at_rest", -2e5, "SI"), applicable("case_resistance", 2e5, "SI")
    ('not applicable', '200 kN')
    """
    negative = code in WHY_NEGATIVE and value is not None and value < 0.0
    return NOT_APPLICABLE if negative else show(code, value, system)


def negative_notes(cells: Mapping[str, Sequence[str]]) -> list[str]:
    """Say why Case resistances are not applicable, one sentence a reason, from cells of text by code."""
    reasons: dict[str, list[str]] = {}
    for code, texts in cells.items():
        if NOT_APPLICABLE in texts:
            reasons.setdefault(WHY_NEGATIVE[code], []).append(NAMES[code].words)
    return [f"{' and '.join(names)}: not applicable where negative, since {why}." for why, names in reasons.items()]


def representative_head(drive: DriveReview) -> str:
    """Give the head of a drive's column: its name and its representative blow."""
    blow = "no sound blow" if drive.representative is None else f"blow {drive.representative.blow}"
    return f"{drive_name(drive.name)}, {blow}"


DIGITS = 9
"""Significant digits of a written number: far more than any gauge gives, fewer than rounding of the arithmetic."""

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")
"""A spreadsheet runs text that begins like this as a formula (common practice, no source)."""


def neutral(text: str) -> str:
    """Give text that no spreadsheet takes for a formula.

    Examples
    --------
    >>> neutral("=1+1"), neutral("pile 3")
    ("'=1+1", 'pile 3')
    """
    return f"'{text}" if text.startswith(FORMULA_STARTS) else text


def blows_csv(table: pd.DataFrame, system: str = "SI") -> bytes:
    """Give the table of blows as the content of a CSV file in SI or in the display units of the US.

    Examples
    --------
    >>> table = pd.DataFrame({"blow": [7], "stroke": [2.4384], "misfit": [float("nan")]})
    >>> print(blows_csv(table).decode())
    blow,stroke [m],misfit
    7,2.4384,
    <BLANKLINE>
    >>> print(blows_csv(table, "US").decode())
    blow,stroke [ft],misfit
    7,8,
    <BLANKLINE>
    """
    if system == "SI":
        return _csv(table, [column_header(code) for code in table.columns])
    units = {code: display_unit(code, system) for code in table.columns if NAMES[code].unit != "1"}  # ratios stay plain
    scaled = {code: table[code] * units[code][1] if code in units else table[code] for code in table.columns}
    heads = [f"{code} [{units[code][0]}]" if code in units else code for code in table.columns]
    return _csv(pd.DataFrame(scaled), heads)


def plain_csv(table: pd.DataFrame, units: dict[str, str]) -> bytes:
    """Give any table as the content of a CSV file.

    Examples
    --------
    >>> print(plain_csv(pd.DataFrame({"pile": ["=A1"], "depth": [1.5]}), {"depth": "m"}).decode())
    pile,depth [m]
    '=A1,1.5
    <BLANKLINE>
    """
    return _csv(table, [f"{name} [{units[name]}]" if name in units else name for name in table.columns])


def _csv(table: pd.DataFrame, headers: list[str]) -> bytes:
    written = table.copy()
    for column in written.select_dtypes(exclude=["number", "bool"]):
        written[column] = [neutral(value) if isinstance(value, str) else value for value in written[column]]
    written.columns = headers
    text = written.to_csv(index=False, float_format=f"%.{DIGITS}g", lineterminator="\n")
    return text.encode()


def blows_parquet(table: pd.DataFrame) -> bytes:
    """Give the table of blows as the content of a Parquet file, the same bytes for the same table.

    Examples
    --------
    >>> import io
    >>> written = blows_parquet(pd.DataFrame({"blow": [7], "stroke": [2.5]}))
    >>> pd.read_parquet(io.BytesIO(written))["stroke [m]"].tolist()
    [2.5]
    """
    return table.rename(columns=column_header).to_parquet(index=False)
