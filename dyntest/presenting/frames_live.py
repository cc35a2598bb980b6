"""Tidy frames of a drive that is being followed: the last blow's record, and resistance down the pile."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from dyntest.following.depth import penetration_at
from dyntest.following.record import Kept
from dyntest.names import display_unit
from dyntest.presenting.frames import shown

SHOWN_RETURNS = 2.5
"""Wave return times after the impact that are drawn [1]."""

MOST_POINTS = 400
"""Points of a trace that are drawn at most [1]."""

MOST_BLOWS = 600
"""Blows that are drawn at most [1]; all of them are kept."""


def live_record_frame(last: Mapping[str, np.ndarray], system: str) -> pd.DataFrame:
    """Give force and impedance × velocity of a blow from its impact on: columns time [ms], value, trace."""
    time, onset = 1e3 * last["time"], int(last["onset"][0])
    time = time - time[onset]
    until = 1e3 * SHOWN_RETURNS * float(last["return_time"][0])
    inside = np.flatnonzero((time >= -1.0) & (time <= until))
    inside = inside[:: max(1, len(inside) // MOST_POINTS)]
    traces = {"force": last["force"], "impedance × velocity": last["impedance_velocity"]}
    parts = [
        pd.DataFrame({"time": time[inside], "value": shown("peak_force", trace[inside], system), "trace": name})
        for name, trace in traces.items()
    ]
    return pd.concat(parts, ignore_index=True)


def live_profile_frames(kept: Kept, start: float | None, system: str) -> tuple[pd.DataFrame, pd.DataFrame, str]:
    """Give resistance by blow, matched resistance with its range, and what they stand against.

    That is ``"penetration"``, or ``"blow"`` where no depth is marked.
    """
    numbers = np.array(sorted(kept.blows))
    depth = penetration_at(kept.depths, start, numbers)
    against = "penetration" if np.isfinite(depth).any() else "blow"
    along = dict(zip(numbers.tolist(), (depth if against == "penetration" else numbers).tolist(), strict=True))
    drawn = numbers[:: -(-len(numbers) // MOST_BLOWS) or 1] if len(numbers) else numbers
    rows = [
        (along[int(number)], one.numbers.get("case_resistance_maximum", np.nan), one.trust != "no")
        for number in drawn
        if (one := kept.blows[int(number)])
    ]
    blows = pd.DataFrame(rows, columns=["along", "value", "sound"]).astype({"along": float, "value": float})
    ends = ("matched_resistance", "matched_resistance_low", "matched_resistance_high")
    found: list[tuple[Any, ...]] = [
        (along[number], *(entry[name] for name in ends))
        for number, entry in sorted(kept.matches.items())
        if number in along and all(name in entry for name in ends) and not entry.get("problem")
    ]
    matches = pd.DataFrame(found, columns=["along", "value", "low", "high"], dtype=float)
    for frame, names in ((blows, ["value"]), (matches, ["value", "low", "high"])):
        frame["along"] = shown(against, frame["along"].to_numpy(dtype=float), system)
        for name in names:
            frame[name] = shown("matched_resistance", frame[name].to_numpy(dtype=float), system)
    return blows.dropna(), matches.dropna(), against


def unit_of(code: str, system: str) -> str:
    """Give the display unit of a number, empty where it has none.

    Examples
    --------
    >>> unit_of("penetration", "US"), unit_of("blow", "US")
    ('ft', '')
    """
    return display_unit(code, system)[0]
