"""Tables of the pages as text with units, since every number goes with its unit."""

from collections.abc import Sequence

import pandas as pd

from dyntest.names import NAMES, show


def numbers_by_drive(drives: Sequence, codes: Sequence[str], system: str) -> pd.DataFrame:
    """Give numbers of the blows that stand for the drives, a column a drive; numbers that no drive has are left out."""
    columns = {"": [], **{drive.name.replace("_", " "): [] for drive in drives}}
    chosen = [drive.representative for drive in drives]
    columns[""].append("blow that stands for the drive")
    for name, one in zip(list(columns)[1:], chosen, strict=True):
        columns[name].append("–" if one is None else f"{one.blow}")
    for code in codes:
        if not any(code in drive.numbers for drive in drives):
            continue
        columns[""].append(NAMES[code].words)
        for name, drive in zip(list(columns)[1:], drives, strict=True):
            columns[name].append(show(code, drive.numbers.get(code), system))
    return pd.DataFrame(columns)


def one_blow(drive, blow: int, codes: Sequence[str], system: str) -> pd.DataFrame:
    """Give numbers of one blow."""
    row = drive.table.loc[drive.table["blow"] == blow].iloc[0]
    known = [code for code in codes if code in row and row[code] == row[code]]
    shown = [show(code, float(row[code]), system) for code in known]
    return pd.DataFrame({f"blow {blow}": [NAMES[code].words for code in known], "value": shown})


def findings(found: Sequence) -> pd.DataFrame:
    """Give what was found on a drive, the worst first."""
    order = {"reject": 0, "warning": 1, "note": 2}
    ordered = sorted(found, key=lambda finding: order[finding.severity])
    return pd.DataFrame(
        {
            "how bad": [finding.severity for finding in ordered],
            "check": [finding.check for finding in ordered],
            "what was found": [finding.message for finding in ordered],
            "what to do": [finding.cure for finding in ordered],
            "blows": [len(finding.blows) for finding in ordered],
        }
    )
