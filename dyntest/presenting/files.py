"""Every file that a review leaves behind, by its name, as bytes that are ready to be written."""

import numpy as np

from dyntest.presenting.figures import profiles_figure, traces_figure
from dyntest.presenting.frames import profile, shown, title, traces, wave_traces
from dyntest.presenting.sentences import drive_words
from dyntest.presenting.summary import summary_json
from dyntest.presenting.tables import blows_csv
from dyntest.review import Review
from dyntest.reviewing.drive_review import DriveReview
from dyntest.wave_equation.matched_waves import matched_waves

PROFILE = ("case_resistance_maximum", "matched_resistance", "peak_gauge_stress", "transferred_energy", "stroke")
"""Numbers drawn for every blow; one that no blow has is left out."""

SHOWN_RETURNS = 4.0
"""Length of the picture of one blow, in travel times to the toe and back [1]: the toe's return and what follows."""


def review_files(review: Review) -> dict[str, bytes]:
    """Give every file of a review.

    Parameters
    ----------
    review : Review
        The reviewed test.

    Returns
    -------
    dict of str to bytes
        Contents by name relative to the folder of the results.
    """
    files = {f"blows_{drive.name}.csv": blows_csv(drive.table) for drive in review.drives}
    for drive in review.drives:
        if drive.waves is not None:
            files |= _blow_figures(drive, review)
        heading = f"{review.sheet.pile_name}, {drive_words(drive)}: every blow"
        along = "penetration" if drive.kind == "initial" and drive.table["penetration"].nunique() > 1 else "blow"
        files |= _profiles(f"figures/profile_{drive.name}.svg", (drive,), along, heading, review)
    if len(review.drives) > 1 and all(drive.table["penetration"].notna().any() for drive in review.drives):
        heading = f"{review.sheet.pile_name}: every blow of every drive"
        files |= _profiles("figures/profiles.svg", review.drives, "penetration", heading, review)
    return {**files, "summary.json": summary_json(review)}


def _blow_figures(drive: DriveReview, review: Review) -> dict[str, bytes]:
    waves, pile, system = drive.waves, review.sheet.pile, review.sheet.display_units
    first_peak = 1e3 * waves.time_step * float(waves.first_peak[0] - waves.onset[0])
    toe_return = first_peak + 1e3 * pile.return_time
    marks = {"t₁": first_peak, "t₁ + 2L/c": toe_return}
    last = min(1e3 * float(waves.time[-1] - waves.time[waves.onset[0]]), SHOWN_RETURNS * toe_return)
    heading = f"{review.sheet.pile_name}, {drive_words(drive)}, blow {drive.representative.blow}"
    computed = None
    if drive.match is not None:
        matched = matched_waves(drive.match)
        computed = np.interp(waves.time, matched.time, matched.up_computed, left=np.nan, right=np.nan)
    panels = (traces(waves, 0, system), wave_traces(waves, 0, system, computed))
    return {f"figures/blow_{drive.name}.svg": traces_figure(panels, heading, marks, last)}


def _profiles(name: str, drives: tuple[DriveReview, ...], along: str, heading: str, review: Review) -> dict[str, bytes]:
    system = review.sheet.display_units
    frame = profile({drive.name: drive.table for drive in drives}, PROFILE, along, system)
    if frame.empty:
        return {}
    required = review.answers.required.value
    known = {
        "case_resistance_maximum": ("required", required),
        "matched_resistance": ("required", required),
        "peak_gauge_stress": ("limit", review.limits.compression.value),
    }
    lines = {
        title(code, system): (label, float(shown(code, value, system)))
        for code, (label, value) in known.items()
        if value is not None
    }
    return {name: profiles_figure(frame, heading, {drive.name: drive.kind for drive in drives}, lines)}
