"""What stands against using a driving criterion, the gravest first: one small function a check."""

from collections.abc import Sequence

from dyntest.decisions.caution import Caution
from dyntest.decisions.measured_blows import AGREEMENT
from dyntest.decisions.stroke_table import StrokeRow
from dyntest.names import show
from dyntest.wave_equation.hammer_calibration import CalibratedHammer
from dyntest.wave_equation.matching import Match

DISAGREEMENT = "bearing graph against measured blows"
"""Name of the check that goes before everything else."""


def alerts(match: Match, calibrated: CalibratedHammer, read: float, agrees: bool | None, system: str):
    """Give what forbids the use of the counts until it is cleared up.

    Parameters
    ----------
    match : Match
        Match of the representative blow at the end of driving.
    calibrated : CalibratedHammer
        The hammer calibrated to it.
    read : float
        Resistance that the graph reads from the measured blows [N].
    agrees : bool or None
        Whether it agrees with the match.
    system : str
        ``"SI"`` or ``"US"``.

    Returns
    -------
    tuple of Caution
        Empty where nothing does.
    """
    found = [_disagreement(match, read, system) if agrees is False else None, _misfit(match), _calibration(calibrated)]
    return tuple(caution for caution in found if caution is not None)


def cautions(
    match: Match, agrees: bool | None, rows: Sequence[StrokeRow], usable: Sequence[StrokeRow]
) -> tuple[Caution, ...]:
    """Give what to weigh beside the counts.

    Parameters
    ----------
    match : Match
        Match of the representative blow at the end of driving.
    agrees : bool or None
        Whether bearing graph and measured blows agree.
    rows, usable : sequence of StrokeRow
        All strokes, and those that can be used.

    Returns
    -------
    tuple of Caution
        Empty where nothing stands against it.
    """
    found = []
    if agrees is None:
        message = "no measured blow has both a stroke and a set, so the bearing graph is not checked by the log"
        found.append(Caution(DISAGREEMENT, message, "add a driving log with strokes"))
    if not match.fully_mobilised:
        message = (
            "the matched blow did not mobilise all the resistance, so the bearing graph is drawn from a lower bound"
        )
        found.append(
            Caution("not fully mobilised", message, "expect fewer blows than asked for at the same resistance")
        )
    if not usable:
        reasons = "; ".join(dict.fromkeys(row.ruled_out for row in rows))
        message = f"no stroke of the approved range can show the resistance: {reasons}"
        found.append(Caution("no usable stroke", message, "use another hammer or cushion, or restrike after a wait"))
    return tuple(found)


def _disagreement(match: Match, read: float, system: str) -> Caution:
    matched = show("matched_resistance", match.matched_resistance, system)
    cure = "do not use the counts before the reason is found: stroke, log, cushions, or soil that changes while driving"
    if read != read:
        message = f"the measured blows lie outside the bearing graph, which is drawn around the match of {matched}"
        return Caution(DISAGREEMENT, message, cure, None, AGREEMENT)
    message = (
        f"the bearing graph reads {show('matched_resistance', read, system)} from the measured blows, the match gives "
        f"{matched}: they disagree by more than {AGREEMENT:.0%}"
    )
    return Caution(DISAGREEMENT, message, cure, read / match.matched_resistance - 1.0, AGREEMENT)


def _misfit(match: Match) -> Caution | None:
    if match.fitted:
        return None
    message = f"the matched blow has a misfit of {match.misfit:.3f}, so soil and bearing graph may be wrong"
    return Caution("match", message, "match another blow, or look at pile and record", match.misfit)


def _calibration(calibrated: CalibratedHammer) -> Caution | None:
    if calibrated.agrees:
        return None
    message = (
        f"the calibrated hammer gives {calibrated.force_ratio:.2f} of the measured force and "
        f"{calibrated.energy_ratio:.2f} of the measured energy"
    )
    return Caution("hammer calibration", message, "check ram, helmet and cushions in the sheet", calibrated.force_ratio)
