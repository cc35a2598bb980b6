"""The command line: reads the arguments, calls the library and prints the result."""

import gc
import os
import signal
import socket
import sys
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Executor
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path
from threading import Timer
from typing import Any

import click

from dyntest import __version__
from dyntest.errors import DyntestError, InputError, install_cure, missing_library
from dyntest.processes import COLLECTIONS, cores, leave, no_interrupt_lost, prepare, process_pool
from dyntest.reading.wording import printable

WRONG_INPUT = 1
"""Exit status where an input is wrong; click itself gives 0 for success and 2 for wrong usage."""

LONGEST_MESSAGE = 600
"""Longest message [characters]."""

INTERRUPTED = 130
"""Exit status after Ctrl-C, 128 + SIGINT as in shells (common practice, no source)."""

DASK_TIMEOUT = 10.0
"""Longest wait for a Dask scheduler [s]."""

DRAWING = "dyntest.presenting.figures"
"""Module that draws; loading it takes half as long as a review without matching."""

PAGES = "dyntest_dashboard"
"""Name under which the folder ``dashboard`` is installed, so that it does not clash with another package."""

USUAL_PORT = 8501
"""Default port of Streamlit (its documentation)."""


SERVER_STOPS = 10.0
"""Time the dashboard's server has to end its connections once told to stop; then it ends without them [s]."""

SERVER_KILLED = 60.0
"""Time after which a server that still runs is killed [s]."""

APART: dict[str, Any] = {"process_group": 0} if os.name == "posix" else {}
"""Keeps Ctrl-C of a terminal from the dashboard's server, so that it is told to stop once, by this process."""

SOON = 2.0
"""Time before the remaining time is estimated [s]."""


_PATH = click.Path(path_type=Path, readable=False)
"""A path; whether it can be read is checked where it is read, with one message."""


def _out(text: str) -> Callable:
    """Give the option that names the output folder."""
    return click.option("--out", metavar="DIR", type=_PATH, help=text)


def _several(flag: str, name: str, metavar: str, text: str) -> Callable:
    """Give an option that names files and may be repeated."""
    return click.option(flag, name, metavar=metavar, multiple=True, type=_PATH, help=f"{text} May be repeated.")


_MATCH = click.option(
    "--match",
    type=click.Choice(["best", "none"]),
    default="best",
    show_default=True,
    help="Match the representative blow of each drive (best), or none.",
)
_DASK = click.option(
    "--dask",
    metavar="ADDRESS",
    help="Run on the Dask cluster at this address; workers need the same files [default: one process per core].",
)
"""Options shared by commands for many test piles."""

_DECIMAL = click.option(
    "--decimal", type=click.Choice([",", "."]), help="Decimal mark of a text, where its numbers do not settle it."
)


@click.group(
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog="Example: dyntest review sample_signals/pier_2_clay/sheet.toml",
)
@click.version_option(__version__, prog_name="dyntest")
def commands() -> None:
    """Turn gauge records of driven test piles into a driving criterion that can be checked."""


@commands.command(
    short_help="Review one test pile: tables, figures, report and card.",
    epilog="Example: dyntest review sample_signals/pier_2_clay/sheet.toml --match every",
)
@click.argument("sheet", type=_PATH)
@_out("Folder for the results [default: review/ beside the sheet].")
@click.option(
    "--match",
    type=click.Choice(["best", "every", "none"]),
    default="best",
    show_default=True,
    help="Match the representative blow of each drive (best), every blow, or none.",
)
@click.option("--png", is_flag=True, help="Also write the figures as PNG.")
@click.option("--verbose", is_flag=True, help="Print every number, finding and caution.")
def review(sheet: Path, out: Path | None, match: str, png: bool, verbose: bool) -> None:
    """Review one test pile, described by its test SHEET: tables, figures, report and inspector's card."""
    with _helpers(match) as executor, _Progress() as progress:
        # Heavy modules are loaded by the command that needs them.
        from dyntest.presenting.files import Drawing, files_with_figures
        from dyntest.presenting.terminal import lines
        from dyntest.reading.files import check_folder, refuse_inputs, write_all
        from dyntest.reviewing.review import review as reviewed

        directory = sheet.parent / "review" if out is None else out
        check_folder(directory)
        drawing = Drawing(executor, matching=match != "none")
        result = reviewed(sheet, match=match, executor=executor, progress=progress, each=drawing.begin)
        progress("drawing", 0.9)
        files = files_with_figures(result, drawing, png=png)
        refuse_inputs(directory, files, result.sheet.inputs)
        written = write_all(directory, files)
    _say("\n".join(lines(result, verbose)))
    _say(f"{len(written)} files are in {directory}")


@contextmanager
def _helpers(match: str) -> Iterator[Executor | None]:
    """Give further processes that match and draw; the first of them loads the drawing module at once.

    None on a single core, in a call from Python, and where the system refuses to start a process.
    """
    with ExitStack() as stack:
        pool = None
        if click.get_current_context().obj and cores() > 1:
            with suppress(OSError, ImportError):
                started = stack.enter_context(process_pool(cores() if match == "every" else cores() - 1))
                started.submit(prepare, DRAWING)
                pool = started
        yield pool


@commands.command(
    short_help="Review every test pile under a folder into one table.",
    epilog="Example: dyntest survey sample_signals --match none --out survey",
)
@click.argument("folder", type=_PATH)
@_out("Folder for the results [default: survey/ in the folder].")
@_MATCH
@_DASK
def survey(folder: Path, out: Path | None, match: str, dask: str | None) -> None:
    """Review every test pile under FOLDER and compare them in one table.

    Finished piles are saved and reviewed again only when their files change, so an interrupted survey resumes where it
    stopped. A pile that cannot be reviewed is listed with the reason; the others are still reviewed.
    """
    from dyntest.presenting.structure_files import survey_files, survey_lines
    from dyntest.reading.files import check_folder, refuse_inputs, write_all
    from dyntest.reviewing.survey import find_sheets, kept_records
    from dyntest.reviewing.survey import survey as surveyed

    directory = folder / "survey" if out is None else out
    sheets = find_sheets(folder, leave_out=directory)
    check_folder(directory)
    refuse_inputs(directory, ("piles.csv", "piles.parquet", "piles.json"), sheets)
    known = kept_records(directory, [path.relative_to(folder).as_posix() for path in sheets])
    with _saving_each(directory, dask) as how:
        records = surveyed(folder, sheets, match=match, known=known, **how)
    write_all(directory, survey_files(records))
    failed = [record for record in records if record.row is None]
    again = sum(known.get(record.sheet) is record for record in records)
    count = "1 pile" if len(records) == 1 else f"{len(records)} piles"
    _say(f"{count}: {len(records) - len(failed)} reviewed, {len(failed)} failed.")
    if again:
        _say(f"{again} of them were reviewed before; their files have not changed.")
    for record in failed:
        _say(f"  - {record.sheet}: {record.problem}")
    _say("\n".join(survey_lines(records)))
    _say(f"Table of all piles in {directory}: piles.csv, piles.parquet, piles.json")


@commands.command(
    short_help="Review the test piles and bearing piles of a structure.",
    epilog="Example: dyntest structure sample_signals/structure.toml",
)
@click.argument("path", metavar="STRUCTURE", type=_PATH)
@_out("Folder for the results [default: structure/ beside the file].")
@_MATCH
@_DASK
def structure(path: Path, out: Path | None, match: str, dask: str | None) -> None:
    """Review every test pile of a STRUCTURE and check its bearing piles against the criterion of their group.

    Finished test piles are saved and reviewed again only when their files change.
    """
    from dyntest.presenting.structure_board import structure_lines
    from dyntest.presenting.structure_files import FILES, structure_files
    from dyntest.reading.files import check_folder, refuse_inputs, write_all
    from dyntest.reading.structure_sheet import read_structure, usual_folder
    from dyntest.reviewing.structure import read_tables, review_structure
    from dyntest.reviewing.survey import kept_records

    sheet = read_structure(path)
    directory = usual_folder(path) if out is None else out
    check_folder(directory)
    refuse_inputs(directory, FILES, (*sheet.inputs, *sheet.tests))
    read_tables(sheet)  # refuse unusable tables before anything is written
    names = [test.relative_to(sheet.path.parent).as_posix() for test in sheet.tests]
    known = kept_records(directory, names)
    with _saving_each(directory, dask) as how:
        result = review_structure(sheet, match=match, known=known, **how)
    written = write_all(directory, structure_files(result))
    _say("\n".join(structure_lines(result)))
    again = sum(known.get(record.sheet) is record for record in result.records)
    if again:
        _say(f"\n{again} of {len(result.records)} test piles were reviewed before; their files have not changed.")
    _say(f"\n{len(written)} files are in {directory}")


@contextmanager
def _saving_each(directory: Path, dask: str | None) -> Iterator[dict[str, Any]]:
    """Give how many test piles are reviewed: where, with progress, and each saved in a folder when it is finished."""
    from dyntest.reviewing.survey import keep_record

    with _dask(dask) as executor, _Progress() as progress:
        yield {"keep": lambda record: keep_record(directory, record), "executor": executor, "progress": progress}


@contextmanager
def _dask(address: str | None):
    """Give the executor of a Dask cluster; None where no address is given."""
    if address is None:
        yield None
        return
    try:
        from distributed import Client
    except ImportError:
        raise missing_library(f"--dask {address}", "distributed", "cluster", "or omit --dask") from None
    try:
        client = Client(address, timeout=DASK_TIMEOUT)
    except (OSError, ValueError) as error:
        problem = f"no Dask scheduler answered ({' '.join(str(error).split())})"
        cure = 'start one and give its address, such as "tcp://127.0.0.1:8786"'
        raise InputError(f"--dask {address}", "", problem, cure) from None
    with client:
        yield client.get_executor()


@commands.command(
    short_help="Check bearing piles against the criterion.",
    epilog="Example: dyntest check pier_2/sheet.toml production.csv --piles piles.csv --out pier_2/check",
)
@click.argument("sheet", type=_PATH)
@click.argument("production_log", type=_PATH)
@click.option("--piles", metavar="TABLE", type=_PATH, help="Table of elevations, lengths and batter.")
@_several("--with", "others", "SHEET", "Another test pile of the structure; the least favourable criterion governs.")
@_out("Folder for tables and check.json.")
def check(sheet: Path, production_log: Path, piles: Path | None, others: tuple[Path, ...], out: Path | None) -> None:
    """Check the bearing piles of a PRODUCTION_LOG against the criterion of the test pile of SHEET."""
    from dyntest.presenting.bearing_pile_answers import bearing_pile_lines, check_files
    from dyntest.reading.files import check_folder, refuse_inputs, sha256, write_all
    from dyntest.reading.production_log import read_pile_table, read_production_log, refuse_other_piles
    from dyntest.reading.sheet import read_sheet
    from dyntest.reviewing.review import review as reviewed
    from dyntest.reviewing.structure import review_bearing_piles

    if out is not None:
        check_folder(out)
    layout = read_sheet(sheet).log_layout
    log = read_production_log(production_log, layout)  # first, so that errors are reported at once
    table = None if piles is None else read_pile_table(piles)
    refuse_other_piles(log, table)
    sheets = (sheet, *others)
    with _Progress() as progress:
        reviews = [reviewed(path, progress=progress.part(n, len(sheets))) for n, path in enumerate(sheets)]
    result = review_bearing_piles(reviews, log, table)
    shown = bearing_pile_lines(result, reviews[0].sheet.display_units)
    if out is not None:
        read = [production_log, *([] if piles is None else [piles])]
        inputs = {path.name: sha256(path) for path in read}
        for one in reviews:
            inputs |= {f"{one.sheet.path.parent.name}/{name}": digest for name, digest in one.inputs.items()}
        files = check_files(result, inputs, reviews[0].sheet.display_units)
        refuse_inputs(out, files, [*read, *(path for one in reviews for path in one.sheet.inputs)])
        shown += ["", f"{len(write_all(out, files))} files are in {out}"]
    _say("\n".join(shown))


@commands.command(
    short_help="Show what a recorder's files contain.",
    epilog="Example: dyntest inspect export/blow_001.txt export/blow_002.txt",
)
@click.argument("files", metavar="FILE...", nargs=-1, required=True, type=_PATH)
@_DECIMAL
def inspect(files: tuple[Path, ...], decimal: str | None) -> None:
    """Show what a recorder's FILEs contain, and print the part of a test sheet that reads them.

    Give the files of one drive; only the first is examined.
    """
    from dyntest.presenting.inspection import inspection_lines
    from dyntest.reading.guess import inspect_files
    from dyntest.reading.wording import in_natural_order

    _say("\n".join(inspection_lines(inspect_files(in_natural_order(files), decimal))))


@commands.command(
    short_help="Write a test sheet ready to fill in.",
    epilog="Example: dyntest new pier_2 --from export/blow_001.txt export/blow_002.txt",
)
@click.argument("directory", metavar="DIR", type=_PATH)
@_several("--from", "records", "FILE", "Recorder file of the first drive, copied into DIR and assigned in the sheet.")
@click.argument("more", metavar="[FILE]...", nargs=-1, type=_PATH)
@_DECIMAL
def new(directory: Path, records: tuple[Path, ...], more: tuple[Path, ...], decimal: str | None) -> None:
    """Write a commented test sheet and empty tables into DIR, ready to fill in.

    With --from FILE... the recorder's files are copied beside the sheet, and the sheet says how to read them.
    """
    from dyntest.presenting.inspection import blank_files, next_lines
    from dyntest.reading.files import refuse_existing, write_all

    if more and not records:
        raise click.UsageError(f"unexpected argument {more[0]}; write --from before the recorder's files")
    files = blank_files()
    if records:
        from dyntest.presenting.inspection import new_files
        from dyntest.reading.guess import inspect_files
        from dyntest.reading.wording import in_natural_order

        every = in_natural_order((*records, *more))
        files = new_files(inspect_files(every, decimal), every, directory)
    refuse_existing(directory, files)
    for path in write_all(directory, files):
        _say(str(path))
    _say("\n".join(next_lines(directory, files["sheet.toml"])))


@commands.command(
    short_help="Follow a drive while the pile is driven.",
    epilog="Example: dyntest follow pier_2/sheet.toml --drive restrike_1 --every 5",
)
@click.argument("sheet", type=_PATH)
@click.option("--drive", "name", metavar="NAME", help="Drive to follow, such as restrike_1 [default: the last one].")
@click.option(
    "--every",
    metavar="N",
    type=click.IntRange(0),
    default=1,
    show_default=True,
    help="Match the newest blow in the background, at least N blows after the last one matched; 0 matches none.",
)
def follow(sheet: Path, name: str | None, every: int) -> None:
    """Follow a drive of SHEET while the pile is driven: read and evaluate each blow as the recorder writes it.

    Results are saved in follow/ beside the sheet, so that following can resume after any stop. dyntest dashboard shows
    them live. On Ctrl-C the signals and the driving log are entered in the sheet.
    """
    from dyntest.following.follow import Follower, stopped, watching
    from dyntest.following.follow import follow as followed
    from dyntest.following.handover import handed_over, matched_for_review
    from dyntest.following.record import only_follower
    from dyntest.presenting.live_words import handed_lines, matched_line, told_line
    from dyntest.reading.sheet import read_sheet
    from dyntest.wave_equation.every_blow import process_pool

    test = read_sheet(sheet, recorded=False)
    drive = next((one for one in reversed(test.drives) if name in (None, one.name)), None)
    if drive is None:
        have = ", ".join(one.name for one in test.drives)
        raise InputError("--drive", "", f"{name} is not a drive of the sheet", f"write one of {have}")
    folder = Follower(test, drive, every=every).folder  # refuses what cannot be followed, before anything is saved
    with only_follower(folder):
        follower = Follower(test, drive, every=every)  # includes what another follower saved before it stopped
        _say(f"Following {drive.name} of {test.pile_name}: {', '.join(follower.patterns)}. Press Ctrl-C to stop.")
        if follower.count.last:
            _say(f"Resuming after blow {follower.count.last}.")
        try:
            with watching(test.path.parent) as wait, process_pool(1) as pool:
                followed(follower, pool, wait, lambda kind, one: _say(told_line(kind, one, test.display_units)))
        except KeyboardInterrupt:
            pass
        finally:
            stopped(follower)
        done = handed_over(follower)
        _say("\n".join(handed_lines(done)))
        if done.blows and every:
            _say("Matching the representative blow for the review. Press Ctrl-C to skip.")
            try:
                _say(matched_line(matched_for_review(follower), test.display_units))
            except KeyboardInterrupt:
                _say("Match skipped; everything else is saved.")


@commands.command(short_help="Open the pages in a browser.", epilog="Example: dyntest dashboard pier_2/sheet.toml")
@click.argument("sheet", metavar="[SHEET|STRUCTURE]", required=False, type=_PATH)
@click.option(
    "--port", metavar="PORT", type=click.IntRange(1024, 65535), help="Port on this computer [default: a free one]."
)
@click.option("--no-browser", is_flag=True, help="Print the address only; do not open a browser.")
def dashboard(sheet: Path | None, port: int | None, no_browser: bool) -> None:
    """Open the dashboard on a test SHEET, on a STRUCTURE of several tests, or on the samples if none is named.

    It is served on this computer only, until stopped with Ctrl-C.
    """
    from importlib.util import find_spec

    if find_spec(PAGES) is None:
        raise InputError("dashboard", "", "is not installed with dyntest", install_cure())
    wanted = {"DYNTEST_BROWSER": "no" if no_browser else "yes"}
    if sheet is not None:
        from dyntest.reading.sheet import read_sheet
        from dyntest.reading.structure_sheet import is_structure, read_structure

        if is_structure(sheet):
            structure = read_structure(sheet)  # errors in its tests are shown on the pages
            wanted |= {"DYNTEST_STRUCTURE": str(structure.path), "DYNTEST_SHEET": str(structure.tests[0])}
        else:
            followed = (sheet.parent / "follow").is_dir()  # its records may not be there yet
            wanted["DYNTEST_SHEET"] = str(read_sheet(sheet, recorded=not followed).path)
    served = _free_port(port)
    while True:
        status = _served({**os.environ, **wanted, "DYNTEST_PORT": str(served)})
        if status != WRONG_INPUT or port is not None or _is_free(served):
            break
        served = _free_port(None)  # taken by another dashboard started at the same time
    sys.exit(0 if status in (0, -signal.SIGINT, -signal.SIGTERM) else WRONG_INPUT)


def _served(environment: dict[str, str]) -> int:
    """Run the dashboard's server until it ends; give its exit status.

    When this process is interrupted or told to end, the server is told so once: a second signal would disturb it while
    it stops.
    """
    import subprocess

    told: list[int] = []
    running: list[subprocess.Popen] = []
    limits = [Timer(SERVER_KILLED, lambda: running[0].kill())]
    if hasattr(signal, "SIGUSR1"):  # a browser that no longer reads would keep the server waiting
        limits.append(Timer(SERVER_STOPS, lambda: running[0].send_signal(signal.SIGUSR1)))

    def end() -> None:
        if not told or not running or limits[0].ident is not None:
            return
        for limit in limits:
            limit.daemon = True
            limit.start()
        if APART or told[0] != signal.SIGINT:  # else Ctrl-C has reached the server too
            running[0].terminate()

    def stop(number: int, _: Any) -> None:
        told.append(number)
        end()

    heard = [getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name)]
    before = {number: signal.signal(number, stop) for number in heard}
    try:
        running.append(subprocess.Popen([sys.executable, "-m", PAGES], env=environment, **APART))
        end()  # told meanwhile
        return running[0].wait()
    finally:
        for limit in limits:
            limit.cancel()
        for number, handler in before.items():
            signal.signal(number, handler)


def _free_port(asked: int | None) -> int:
    """Give the port asked for, or the first free one from Streamlit's default upward."""
    for port in (asked,) if asked else range(USUAL_PORT, USUAL_PORT + 50):
        if _is_free(port):
            return port
    place = f"port {asked}" if asked else "ports"
    raise InputError("dashboard", place, "already in use", "choose another with --port")


def _is_free(port: int) -> bool:
    """Whether a port is free."""
    with socket.socket() as trial:
        trial.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            trial.bind(("127.0.0.1", port))
        except OSError:
            return False
    return True


class _Progress:
    """Shows the step and the estimated time left on a terminal; silent in a pipe."""

    def __enter__(self):
        self.shown = sys.stderr.isatty()
        self.began, self.first, self.last = time.monotonic(), 0.0, 0.0
        return self

    def __call__(self, step: str, share: float) -> None:
        if not self.shown:
            return
        if share < self.last:  # another piece of work, timed from its own start
            self.began, self.first = time.monotonic(), share
        self.last = share
        done = round(20 * share)
        sys.stderr.write(f"\r\x1b[K{'━' * done}{'╌' * (20 - done)} {step}{self._left(share)}")
        sys.stderr.flush()

    def part(self, number: int, of: int) -> Callable[[str, float], None]:
        """Give the progress of one of several equal pieces of work."""
        return lambda step, share: self(step, (number + share) / of)

    def _left(self, share: float) -> str:
        """Give the estimated time left, at the rate so far."""
        passed, gained = time.monotonic() - self.began, share - self.first
        if passed < SOON or gained <= 0.0:
            return ""
        left = passed * (1.0 - share) / gained
        return f", about {left:.0f} s left" if left < 90.0 else f", about {left / 60.0:.0f} min left"

    def __exit__(self, *_) -> None:
        if self.shown:
            sys.stderr.write("\r\x1b[K")


def main(arguments: list[str] | None = None) -> None:
    """Run the command line and exit with its status; at once, where it is a process of its own."""
    if arguments is not None:
        return _run(arguments)
    try:
        _run(None)
        status = 0
    except SystemExit as done:
        status = done.code if isinstance(done.code, int) else int(done.code is not None)
    leave(status)


def _run(arguments: list[str] | None) -> None:
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # a terminal without a character shows another
    gc.set_threshold(*COLLECTIONS)
    try:
        with no_interrupt_lost(_run):
            commands.main(arguments, prog_name="dyntest", standalone_mode=False, obj=arguments is None)
    except click.exceptions.Exit as done:
        sys.exit(done.exit_code)
    except click.ClickException as wrong:
        wrong.show()
        sys.exit(wrong.exit_code)
    except (click.Abort, KeyboardInterrupt):
        _stop("stopped before it was finished; no incomplete results were written", INTERRUPTED)
    except DyntestError as error:
        _stop(str(error), WRONG_INPUT)
    except MemoryError:
        _stop("not enough memory for these records; review fewer blows at a time", WRONG_INPUT)
    except OSError as error:
        name = f"{printable(str(error.filename), 200)}: " if error.filename else ""
        _stop(f"{name}{error.strerror or error}; check the name, the permissions and the free disk space", WRONG_INPUT)


def _say(text: str) -> None:
    """Print lines of text; control characters, in a name perhaps, are printed as blanks.

    If the reader has closed the pipe, as ``head`` does, the work continues without output.
    """
    try:
        click.echo("\n".join(printable(line, len(line)) for line in text.split("\n")))
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _stop(message: str, status: int) -> None:
    click.echo(printable(message, LONGEST_MESSAGE), err=True)
    sys.exit(status)


if __name__ == "__main__":
    main()
