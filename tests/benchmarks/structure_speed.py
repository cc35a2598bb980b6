"""How long a structure of many piles takes, and how much memory: 40 test piles, 5,000 bearing piles, the board redrawn.

    python tests/benchmarks/structure_speed.py [TEST_PILES] [BEARING_PILES]

The test piles are copies of the four samples, reviewed without matching by a process a core. The bearing piles are
those of the sample logs, over and over. Times are of this run on this machine; nothing is asserted.
"""

import os
import resource
import shutil
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

SAMPLES = Path(__file__).parents[2] / "sample_signals"
TESTS = ("pier_2_clay", "abutment_1_concrete", "pier_3_shale", "abutment_4_damaged")


def timed(words: str, work: Callable):
    """Do some work, say how long it took on the clock and in processor time with its processes, and give its result."""
    began, used = time.perf_counter(), used_time()
    result = work()
    print(f"{words}: {time.perf_counter() - began:.2f} s, processor {used_time() - used:.2f} s", flush=True)
    return result


def used_time() -> float:
    """Processor time of this process and of those it waited for [s]."""
    times = os.times()
    return times.user + times.system + times.children_user + times.children_system


def lay_out(folder: Path, tests: int, piles: int) -> Path:
    """Lay out a structure of so many test piles and bearing piles; gives its file."""
    groups: dict[str, list[str]] = {name: [] for name in TESTS}
    for number in range(tests):
        name = TESTS[number % len(TESTS)]
        place = folder / f"{name}_{number}"
        shutil.copytree(SAMPLES / name, place, ignore=shutil.ignore_patterns("review"))
        sheet = place / "sheet.toml"
        lines = [
            f'pile = "T{number}"' if line.startswith("pile = ") else line for line in sheet.read_text().splitlines()
        ]
        sheet.write_text("\n".join(lines))
        groups[name].append(f"{place.name}/sheet.toml")
    for log, table in (("production_log.csv", "piles.csv"),):
        multiply(SAMPLES / log, folder / log, piles // 24, places=False)
        multiply(SAMPLES / table, folder / table, piles // 24, places=True)
    text = 'format = 1\n[structure]\nname = "Quillback Creek Bridge (invented)"\ndisplay_units = "US"\n'
    for name, sheets in groups.items():
        if sheets:
            listed = ", ".join(f'"{one}"' for one in sheets)
            text += f'[[group]]\nname = "{name}"\ntests = [{listed}]\n'
            if name == TESTS[0]:
                text += 'production_log = "production_log.csv"\npiles = "piles.csv"\n'
    (folder / "structure.toml").write_text(text)
    return folder / "structure.toml"


def multiply(source: Path, target: Path, times: int, *, places: bool) -> None:
    """Write a table of piles many times over, each time under other marks and, on the plan, further up."""
    head, *rows = source.read_text(encoding="utf-8").splitlines()
    with target.open("w", encoding="utf-8") as out:
        out.write(head + "\n")
        for number in range(times):
            for row in rows:
                mark, _, others = row.partition(",")
                if places:
                    others, _, y = others.rpartition(",")
                    others = f"{others},{float(y) + 24.0 * number}"
                out.write(f"{mark}.{number},{others}\n")


def main() -> None:
    """Measure, and say what was found."""
    from dyntest.presenting.structure_files import structure_files
    from dyntest.reading.structure_sheet import read_structure
    from dyntest.reviewing.structure import conclude_structure, read_tables
    from dyntest.reviewing.survey import keep_record, survey

    tests, piles = (int(sys.argv[place]) if len(sys.argv) > place else many for place, many in ((1, 40), (2, 5000)))
    with tempfile.TemporaryDirectory() as name:
        path = lay_out(Path(name), tests, piles)
        sheet = read_structure(path)
        records = timed(f"{tests} test piles without matching", lambda: survey(path.parent, sheet.tests, match="none"))
        again = {record.sheet: record for record in records}
        timed(
            "the same once more, nothing changed", lambda: survey(path.parent, sheet.tests, match="none", known=again)
        )
        records = with_criteria(path.parent, sheet, records)
        tables = timed(f"{piles} bearing piles, their log read", lambda: read_tables(sheet))
        review = timed(
            f"{piles} bearing piles held against the criterion", lambda: conclude_structure(sheet, records, tables)
        )
        timed("all files, with the board as PDF", lambda: structure_files(review))
        for record in records:
            keep_record(path.parent / "structure", record)
        redraw(path)
    for who, words in ((resource.RUSAGE_SELF, "this process"), (resource.RUSAGE_CHILDREN, "the largest other one")):
        print(f"most memory of {words}: {resource.getrusage(who).ru_maxrss / 1024:.0f} MB")


def with_criteria(folder: Path, sheet, records: tuple) -> tuple:
    """Give the records as if they were matched: those of the first sample with its criterion, worked out here."""
    from dataclasses import replace

    from dyntest.reviewing.pile_result import pile_result
    from dyntest.reviewing.review import review

    found = pile_result(review(SAMPLES / TESTS[0] / "sheet.toml"))
    filled = []
    for record in records:
        if TESTS[0] in record.sheet and record.result is not None:
            pile = record.result.pile
            result = replace(found, pile=pile, criterion=replace(found.criterion, pile=pile))
            filled.append(replace(record, result=result, match="best"))
        else:
            filled.append(replace(record, match="best"))
    return tuple(filled)


def redraw(path: Path) -> None:
    """Say how long the page of the structure takes, first and after another pile was chosen."""
    from streamlit.testing.v1 import AppTest

    os.environ |= {"DYNTEST_STRUCTURE": str(path), "DYNTEST_SHEET": str(path.parent / f"{TESTS[0]}_0" / "sheet.toml")}
    script = "from dyntest_dashboard.strip import drawing\n\ndrawing('structure')()\n"
    page = AppTest.from_string(script, default_timeout=300)
    timed("the board drawn first", page.run)
    for pile in ("P2-14.3", "P2-20.7", "P2-1.9"):
        page.session_state["structure_pile"] = pile
        timed(f"the board redrawn on {pile}", page.run)
    if page.exception or page.error:
        print("the page failed:", page.exception, page.error)


if __name__ == "__main__":
    main()
