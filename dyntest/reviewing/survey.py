"""Every test pile under a folder reviewed through an executor, each once; what is done is kept as it comes.

Which files are test sheets is told from their text. A reviewed pile is one row of a table: plain numbers in SI and
short texts.
"""

import contextlib
import hashlib
import json
import os
import re
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Executor, Future, wait
from contextlib import nullcontext
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from dyntest.decisions.setup import compared_for_sure
from dyntest.errors import DyntestError, InputError
from dyntest.names import column_header
from dyntest.processes import process_pool
from dyntest.reading.files import digests, program, write_all
from dyntest.reading.sheet import read_sheet
from dyntest.reviewing.drive import DriveReview
from dyntest.reviewing.pile_result import PileResult, as_plain, from_plain, pile_result
from dyntest.reviewing.review import Progress, Review, review

USUAL_NAME = "sheet.toml"
"""A file of this name is always taken for a test sheet."""

MOST_LOOKED_AT = 1 << 20
"""Bytes of another TOML file that are looked at [1]; a sheet is far smaller."""

_TABLES = (re.compile(rb"^\s*\[\s*pile\s*\]", re.M), re.compile(rb"^\s*\[\[\s*drive\s*\]\]", re.M))
"""Tables that every test sheet has, looked for in the text, so that a sheet with a slip is not passed over."""


def find_sheets(folder: Path, leave_out: Path | None = None) -> tuple[Path, ...]:
    """Give every test sheet under a folder; raises `InputError` for a folder that cannot be read."""
    if not folder.is_dir():
        problem = "is not a folder" if folder.exists() else "does not exist"
        raise InputError(str(folder), "", problem, "name a folder with test sheets in it or below it")
    out = None if leave_out is None else leave_out.resolve()
    found = []
    for place, folders, files in os.walk(folder, onerror=_refuse_unreadable):
        here = Path(place)
        folders[:] = [name for name in folders if not name.startswith(".") and (here / name).resolve() != out]
        found += [here / name for name in files if name == USUAL_NAME or _looks_like_a_sheet(here / name)]
    if not found:
        cure = f'put a {USUAL_NAME} beside each pile\'s records, as "dyntest new" makes one'
        raise InputError(str(folder), "", "no test sheet is in it or below it", cure)
    return tuple(sorted(found))


def _refuse_unreadable(trouble: OSError) -> None:
    problem = f"cannot be read ({trouble.strerror}), so its test piles would be missing"
    raise InputError(str(trouble.filename), "", problem, "change its permissions, or survey other folders") from None


def _looks_like_a_sheet(path: Path) -> bool:
    if path.suffix != ".toml" or not path.is_file():
        return False
    try:
        with path.open("rb") as file:
            text = file.read(MOST_LOOKED_AT)
    except OSError:
        return False
    return all(table.search(text) for table in _TABLES)


ROLES = ("initial", "restrike")
"""Of each kind the last drive is given: the end of driving, and the longest wait."""

OF_A_DRIVE = (
    "blow",
    "penetration",
    "set_per_blow",
    "stroke",
    "transferred_energy",
    "energy_ratio",
    "peak_force",
    "damping_factor",
    "case_resistance_maximum",
    "matched_resistance",
    "matched_resistance_low",
    "matched_resistance_high",
    "shaft_resistance",
    "toe_resistance",
    "misfit",
)
"""Numbers of the representative blow, by their names in code."""

LARGEST = ("peak_gauge_stress", "toe_compression_stress", "peak_tension_stress")
"""Numbers of which the largest of all blows that are not rejected is given."""

SMALLEST = ("integrity_factor",)
"""Numbers of which the smallest is given."""

FURTHER_UNITS = {
    "compression_stress": "Pa",
    "tension_stress": "Pa",
    "compression_stress_limit": "Pa",
    "tension_stress_limit": "Pa",
    "required_resistance": "N",
    "wait": "s",
    "setup_factor_low": "1",
    "setup_factor_high": "1",
    "end_of_drive_target": "N",
    "criterion_stroke": "m",
    "criterion_set_per_blow": "m",
}
"""Units of the numbers that are of the whole pile and not of a blow."""

TEXTS = (
    *("sheet", "project", "structure", "pile", "trust"),
    *("reasons", "lower_bounds", "alerts", "criterion_problem", "display_units"),
)
COUNTS = ("drives", "blows", "rejects", "warnings")
NUMBERS = (
    *(f"{role}_{code}" for role in ROLES for code in OF_A_DRIVE),
    *LARGEST,
    *SMALLEST,
    "setup_factor",
    *FURTHER_UNITS,
)
COLUMNS = (*TEXTS[:5], *COUNTS, *NUMBERS, *TEXTS[5:])
"""Every column, in its order."""

Row = Mapping[str, str | int | float | None]


def header(column: str) -> str:
    """Give the header of a column, with its unit in square brackets where it has one.

    Examples
    --------
    >>> header("initial_peak_force"), header("wait"), header("pile"), header("initial_blow")
    ('initial_peak_force [N]', 'wait [s]', 'pile', 'initial_blow')
    """
    unit = FURTHER_UNITS.get(column)
    if unit is not None:
        return column if unit == "1" else f"{column} [{unit}]"
    if column not in NUMBERS:
        return column
    role, _, code = column.partition("_")
    return f"{role}_{column_header(code)}" if role in ROLES else column_header(column)


def pile_row(review: Review, sheet: str) -> Row:
    """Give what a reviewed pile says, as one row."""
    read, answers = review.sheet, review.answers
    severities = [finding.severity for drive in review.drives for finding in drive.findings]
    row = dict.fromkeys(COLUMNS)
    row |= {
        "sheet": sheet,
        "project": read.project,
        "structure": read.structure,
        "pile": read.pile_name,
        "trust": review.trust.answer,
        "reasons": "; ".join(review.trust.reasons),
        "lower_bounds": "; ".join(drive.name for drive in review.drives if drive.lower_bound),
        "drives": len(review.drives),
        "blows": sum(len(drive.table) for drive in review.drives),
        "rejects": severities.count("reject"),
        "warnings": severities.count("warning"),
        "compression_stress": _greatest(review, "compression", "peak_gauge_stress"),
        "tension_stress": _greatest(review, "tension"),
        "compression_stress_limit": review.limits.compression.value,
        "tension_stress_limit": review.limits.tension.value,
        "required_resistance": answers.required.value,
        "end_of_drive_target": None if answers.target is None else answers.target.value,
        "criterion_problem": "" if answers.criterion_problem is None else answers.criterion_problem.kind,
        "alerts": "",
        "display_units": read.display_units,
    }
    for role in ROLES:
        last = [drive for drive in review.drives if drive.kind == role][-1:]
        row |= {f"{role}_{code}": value for drive in last for code, value in _of_a_drive(drive).items()}
    row |= {code: _over_all(review, code, np.nanmax) for code in LARGEST}
    row |= {code: _over_all(review, code, np.nanmin) for code in SMALLEST}
    for setup, factor in compared_for_sure(answers.setups[-1:]):
        row |= {"wait": setup.wait, "setup_factor": factor.value}
        row |= {"setup_factor_low": factor.low, "setup_factor_high": factor.high}
    found = answers.criterion
    if found is not None:
        row["alerts"] = "; ".join(alert.kind for alert in found.alerts)
        usable = [row for row in found.rows if row.ruled_out is None]
        if usable:
            near = min(usable, key=lambda asked: abs(asked.stroke - found.calibrated.stroke))
            row |= {"criterion_stroke": near.stroke, "criterion_set_per_blow": near.set_per_blow}
    return {column: _plain(column, row[column]) for column in COLUMNS}


def _of_a_drive(drive: DriveReview) -> dict[str, float | None]:
    numbers = dict(drive.numbers)
    if drive.match is not None:
        low, high = drive.match.matched_resistance_range
        numbers |= {"matched_resistance_low": low, "matched_resistance_high": high}
    return {code: numbers.get(code) for code in OF_A_DRIVE}


def _over_all(review: Review, code: str, pick) -> float | None:
    """Pick from every blow whose record is not rejected; None where none has the number."""
    values = []
    for drive in review.drives:
        rejected = {blow for found in drive.findings if found.severity == "reject" for blow in found.blows}
        if code in drive.table:
            values += drive.table.loc[~drive.table["blow"].isin(rejected), code].dropna().tolist()
    return float(pick(values)) if values else None


def _greatest(review: Review, sense: str, *gauges: str) -> float | None:
    """Give the greatest stress that a review holds against its limit, along the pile and at a single gauge [Pa]."""
    found = [one.value for one in review.answers.stresses if one.sense == sense]
    found += [value for code in gauges if (value := _over_all(review, code, np.nanmax)) is not None]
    return max(found, default=None)


def _plain(column: str, value):
    """Leave only what JSON can hold."""
    if column in TEXTS:
        return str(value or "")
    if column in COUNTS:
        return int(value)
    return None if value is None or not np.isfinite(value) else float(value)


MATCHES = ("best", "none")
"""What may be matched in a survey: the representative blow of each drive, or nothing."""

NOT_REVIEWED = "not reviewed yet"
"""The problem of a pile not reviewed since its files changed; it has not failed."""

AHEAD = 64
"""Piles handed to the executor at a time [1]: enough for a cluster, few enough to cancel quickly."""

BEAT = 0.3
"""How often progress is reported while piles are being reviewed [s]; the work can be stopped then."""

DIED = "its process stopped, perhaps for lack of memory; review it alone"
"""Said of a pile that took its process down twice, the second time with no other pile in hand."""


@dataclass(frozen=True)
class PileRecord:
    """What a survey keeps of one pile.

    Parameters
    ----------
    sheet : str
        The sheet, relative to the surveyed folder.
    inputs : dict of str to str
        SHA-256 of every file that was read, by its name relative to the sheet's folder; empty where it failed.
    match : str
        One of `MATCHES`.
    program : str
        Version and fingerprint of the program that computed it.
    row : mapping or None
        Its row of the table; None where it failed.
    problem : str
        Why it failed, in a message for its engineer; empty where it did not.
    result : PileResult or None
        What a structure takes from it; None where it failed.
    """

    sheet: str
    inputs: Mapping[str, str]
    match: str
    program: str
    row: Row | None
    problem: str = ""
    result: PileResult | None = field(default=None, compare=False)


def survey(
    folder: Path,
    sheets: tuple[Path, ...],
    *,
    match: str = "best",
    known: Mapping[str, PileRecord] | None = None,
    keep: Callable[[PileRecord], None] = lambda record: None,
    executor: Executor | None = None,
    progress: Progress | None = None,
) -> tuple[PileRecord, ...]:
    """Review every pile, and do none again that is done.

    Parameters
    ----------
    folder : pathlib.Path
        The surveyed folder, from which sheets get their names.
    sheets : tuple of pathlib.Path
        Test sheets in it or below it.
    match : str
        One of `MATCHES`.
    known : mapping of str to PileRecord or None
        What an earlier survey kept, by the sheet's name.
    keep : callable
        Given each pile that is newly done, as soon as it is; an interruption loses only what is in hand.
    executor : concurrent.futures.Executor or None
        Where piles are reviewed; None: a pool with a process a core. Its workers have to see the files by the same
        paths.
    progress : callable or None
        Told how many are done, how many failed, and how long it will still take, several times a second; what it
        raises ends the survey, and the processes with it.

    Returns
    -------
    tuple of PileRecord
        One a sheet, in the order of the sheets; a pile that could not be reviewed says why.

    Raises
    ------
    ValueError
        If `match` is none of `MATCHES`.
    """
    if match not in MATCHES:
        raise ValueError(f"match is {match!r}; write one of {', '.join(MATCHES)}")
    asked = progress or (lambda step, share: None)
    names = {path.relative_to(folder).as_posix(): path.resolve() for path in sheets}
    asked("looking for what is done", 0.0)
    done = still_done(folder, sheets, known or {}, match)
    waiting = [name for name in names if name not in done]
    begun, at_first = time.monotonic(), len(done)
    failed = 0

    def tell() -> None:
        words = f"{len(done)} of {len(names)} piles, {failed} failed"
        if len(done) > at_first:
            words += f", {time_left(time.monotonic() - begun, len(done) - at_first, len(names) - len(done))}"
        asked(words, len(done) / len(names))

    for record in _reviewed(waiting, names, match, executor, tell):
        done[record.sheet] = record
        failed += record.row is None
        if record.row is not None:
            keep(record)
        tell()
    return tuple(done[name] for name in names)


def still_done(
    folder: Path, sheets: tuple[Path, ...], known: Mapping[str, PileRecord], match: str
) -> dict[str, PileRecord]:
    """Give what of an earlier survey still holds, by the sheet's name: same choices, program and files."""
    names = {path.relative_to(folder).as_posix(): path.resolve() for path in sheets}
    return {name: known[name] for name, path in names.items() if _unchanged(path, known.get(name), match)}


def time_left(elapsed: float, done: int, waiting: int) -> str:
    """Say how long the rest will take if it goes on as it went.

    Units: elapsed [s].

    Examples
    --------
    >>> time_left(60.0, 10, 5), time_left(60.0, 10, 100), time_left(60.0, 1, 0)
    ('30 s left', '10 min left', '0 s left')
    """
    seconds = elapsed / max(done, 1) * waiting
    return f"{seconds:.0f} s left" if seconds < 90.0 else f"{seconds / 60.0:.0f} min left"


def review_pile(path: str, name: str, match: str) -> PileRecord:
    """Review one pile in whatever process this is; errors are recorded, not raised."""
    try:
        found = review(path, match=match)
        return PileRecord(name, found.inputs, match, program(), pile_row(found, name), "", pile_result(found))
    except DyntestError as error:
        problem = str(error)
    except MemoryError:
        problem = "the computer has too little memory for its records; review it alone"
    except Exception as error:  # one pile must not take the others with it
        problem = f"the program failed on it ({type(error).__name__}: {error}); please report that"
    return _failure(name, match, problem)


def _failure(name: str, match: str, problem: str) -> PileRecord:
    return PileRecord(name, {}, match, program(), None, " ".join(problem.split()))


def _unchanged(path: Path, record: PileRecord | None, match: str) -> bool:
    """Whether a pile is done with the same choices, program and files, those that it would read today."""
    if record is None or record.row is None or (record.match, record.program) != (match, program()):
        return False
    try:
        return digests(read_sheet(path)) == dict(record.inputs)
    except DyntestError:
        return False


def _reviewed(
    waiting: list[str], paths: Mapping[str, Path], match: str, executor: Executor | None, tell: Callable[[], None]
) -> Iterator[PileRecord]:
    """Review piles and give each as it is done; those in hand when a process died are tried again one at a time."""
    names, lost = deque(waiting), deque[str]()
    ahead = AHEAD if executor is not None else 2 * (os.cpu_count() or 1)
    for queue, in_hand in ((names, ahead), (lost, 1)):
        while queue:
            with nullcontext(executor) if executor is not None else process_pool() as pool:
                for name, record in _through(pool, queue, paths, match, in_hand, tell):
                    if record is not None:
                        yield record
                    elif queue is names:
                        lost.append(name)
                    else:
                        yield _failure(name, match, DIED)


def _through(
    pool: Executor,
    queue: deque[str],
    paths: Mapping[str, Path],
    match: str,
    most_in_hand: int,
    tell: Callable[[], None],
) -> Iterator[tuple[str, PileRecord | None]]:
    """Take piles off a queue through a pool until it is empty or a process died; None for piles lost with that."""
    in_hand: dict[Future, str] = {}
    died = False
    try:
        while in_hand or (queue and not died):
            while queue and not died and len(in_hand) < most_in_hand:
                name = queue.popleft()
                try:
                    in_hand[pool.submit(review_pile, str(paths[name]), name, match)] = name
                except BrokenExecutor:
                    died = True
                    yield name, None
            ended = wait(in_hand, BEAT, return_when=FIRST_COMPLETED).done
            if not ended:
                tell()
            for future in ended:
                name = in_hand.pop(future)
                died = died or future.exception() is not None  # `review_pile` itself raises nothing
                yield name, None if future.exception() is not None else future.result()
    finally:
        for future in in_hand:
            future.cancel()


KEPT_FORMAT = 6
"""Raised when a reader of the files would have to change, or criteria get alerts that older ones lack; a pile kept in
another format is done again."""

KEPT = "piles"
"""Folder of the small files, in the folder of the results."""

_NAME_CHARACTERS = 60


def keep_record(directory: Path, record: PileRecord) -> None:
    """Write the small JSON of a pile that is done, whole."""
    kept = {
        "format": KEPT_FORMAT,
        "sheet": record.sheet,
        "inputs": dict(record.inputs),
        "match": record.match,
        "dyntest": record.program,
        "row": dict(record.row or {}),
        "result": None if record.result is None else as_plain(record.result),
    }
    write_all(directory, {_kept_name(record.sheet): (json.dumps(kept, indent=1) + "\n").encode()})


def kept_records(directory: Path, sheets: Iterable[str]) -> dict[str, PileRecord]:
    """Give what an earlier survey kept; a file that is damaged or of another format is as if it were not there."""
    found = {}
    for sheet in sheets:
        with contextlib.suppress(OSError, ValueError, TypeError, KeyError, AttributeError, RecursionError):
            text = (directory / _kept_name(sheet)).read_text(encoding="utf-8")
            kept = json.loads(text)  # numbers that are none stand in results
            if kept["format"] == KEPT_FORMAT and kept["sheet"] == sheet and _whole(kept["row"]):
                inputs = {str(name): str(digest) for name, digest in kept["inputs"].items()}
                result = None if kept["result"] is None else from_plain(kept["result"])
                found[sheet] = PileRecord(sheet, inputs, kept["match"], kept["dyntest"], kept["row"], "", result)
    return found


def _whole(row: dict) -> bool:
    """Whether a kept row has every column, each of its kind."""
    kinds: list[tuple[Any, Any]] = [(TEXTS, str), (COUNTS, int), (NUMBERS, (int, float, type(None)))]
    return set(row) == set(COLUMNS) and all(
        isinstance(row[name], kind) and row[name] == row[name] for names, kind in kinds for name in names
    )


def _kept_name(sheet: str) -> str:
    """Give a name that any file system takes and no two sheets share."""
    plain = "".join(character if character.isascii() and character.isalnum() else "_" for character in sheet)
    return f"{KEPT}/{plain[-_NAME_CHARACTERS:]}.{hashlib.sha256(sheet.encode()).hexdigest()[:12]}.json"
