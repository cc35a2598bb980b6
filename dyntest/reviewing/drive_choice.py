"""Another damping factor or another representative blow for a drive that is already reviewed.

Only what depends on them is worked out again, from waves that are at hand; the result is that of `review_drive` on
the same sheet, which a test holds it to.
"""

from dataclasses import replace

import numpy as np

from dyntest.decisions.trust import trust
from dyntest.pile import Pile
from dyntest.quantities import case_resistance as case
from dyntest.quantities.drive_findings import DAMPING_CHECK
from dyntest.reading.sheet_parts import TestSheet
from dyntest.reviewing.drive_review import DriveReview, representative
from dyntest.reviewing.drive_waves import one_blow
from dyntest.signals import Waves


def choose(sheet: TestSheet, drive: DriveReview, waves: Waves, *, calibrated: float | None = None) -> DriveReview:
    """Give a reviewed drive as the choices of a sheet have it.

    Parameters
    ----------
    sheet : TestSheet
        The sheet with its choices; filter, alignment and channels left out are those the drive was reviewed with.
    drive : DriveReview
        The drive, reviewed with the same sheet under other choices of blow and damping factor.
    waves : Waves
        Waves of every blow of the drive, from `dyntest.reviewing.drive_waves.drive_waves`.
    calibrated : float or None
        Case damping factor from signal matching [1], for a sheet in which neither engineer nor soil gives one.

    Returns
    -------
    DriveReview
        As from `review_drive`; a match is kept where the representative blow stays.

    Raises
    ------
    InputError
        If the chosen blow was not recorded.
    """
    table, findings, source = drive.table, drive.findings, drive.damping_source
    factor = sheet.damping_factor if calibrated is None else calibrated
    if factor is not None:
        table = table.assign(**case_columns(waves, sheet.pile, factor))
        findings = tuple(finding for finding in findings if finding.check != DAMPING_CHECK)
        source = "engineer" if calibrated is None else "signal matching"
    chosen = representative(sheet, drive.drive, table, findings)
    blow = None if chosen is None else chosen.blow
    alone = None if blow is None else one_blow(waves, int(np.flatnonzero(waves.blow == blow)[0]))
    judged = trust(findings, len(table), blow)
    told = {"table": table, "findings": findings, "damping_source": source, "trust": judged}
    again = replace(drive, representative=chosen, waves=alone, **told)
    if drive.representative is not None and blow == drive.representative.blow:
        return again
    return replace(again, match=None, match_problem="", calibrated_damping_factor=float("nan"))


def case_columns(waves: Waves, pile: Pile, damping_factor: float) -> dict[str, np.ndarray]:
    """Give the columns of a drive's table that depend on the damping factor.

    Parameters
    ----------
    waves : Waves
        Waves of the blows.
    pile : Pile
        The pile.
    damping_factor : float
        Case damping factor J [1].

    Returns
    -------
    dict of str to numpy.ndarray
        By their names in code, each of shape (n_blows,) [SI unit of the name].
    """
    record = (waves.down, waves.up, waves.first_peak, pile.return_time, waves.time_step, damping_factor)
    return {
        "case_resistance": case.case_resistance(*record),
        "case_resistance_maximum": case.case_resistance_maximum(*record),
        "case_resistance_unloading": case.case_resistance_unloading(*record),
        "damping_factor": np.full(len(waves.blow), float(damping_factor)),
        "damping_factor_maximum": np.full(len(waves.blow), float(damping_factor)),
    }
