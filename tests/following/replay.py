"""Writes the blows of a sample as a recorder would, file by file or into one file, by itself or in real time.

``python tests/following/replay.py FOLDER --speed 10`` lays a sheet and a folder ``blows`` into FOLDER and writes a blow
when its time has come, ten times faster than it was driven; ``dyntest follow FOLDER/sheet.toml`` follows it.
"""

import argparse
import threading
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pandas as pd

ROOT = Path(__file__).parent.parent.parent
SAMPLE = ROOT / "sample_signals" / "pier_2_clay"


@cache
def sample_blows() -> tuple[pd.DataFrame, ...]:
    """Give the table of each blow of the sample."""
    data = pd.read_parquet(SAMPLE / "initial.parquet")
    return tuple(part.reset_index(drop=True) for _, part in data.groupby("blow"))


class Replay:
    """A recorder that has the blows of a sample's initial drive to write."""

    def __init__(self, root: Path, *, blows: int | None = None, signals: str = "blows/*.csv", ending: str = ".csv"):
        self.root, self.ending = root, ending
        self.folder = root / "blows"
        self.folder.mkdir(parents=True, exist_ok=True)
        self.sheet = root / "sheet.toml"
        text = (SAMPLE / "sheet.toml").read_text(encoding="utf-8")
        text = text[: text.index('[[drive]]\nkind = "restrike"')].replace('log = "driving_log.csv"\n', "")
        self.sheet.write_text(text.replace('signals = "initial.parquet"', f'signals = "{signals}"'), encoding="utf-8")
        self.blows = list(sample_blows()[:blows])

    def record(self, number: int, numbered: bool = False) -> pd.DataFrame:
        """The table of one blow, with its number in a column or without."""
        part = self.blows[number - 1]
        return part if numbered else part.drop(columns="blow")

    def write(self, number: int, *, name: int | None = None, numbered: bool = False, rows: int | None = None) -> Path:
        """Write one blow into a file of its own, under another number where one is given, cut after some rows."""
        path = self.folder / f"blow_{name or number:04d}{self.ending}"
        table = self.record(number, numbered)
        if self.ending == ".parquet":
            table.to_parquet(path, index=False)
        else:
            table.iloc[:rows].to_csv(path, index=False)
        return path

    def run(self, speed: float, stop: threading.Event | None = None) -> Iterator[Path]:
        """Write blow by blow when its time has come."""
        stop, before = stop or threading.Event(), 0.0
        for number, part in enumerate(self.blows, start=1):
            clock = float(part["clock [s]"].iloc[0])
            if stop.wait((clock - before) / speed):
                return
            before = clock
            yield self.write(number)


if __name__ == "__main__":
    told = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    told.add_argument("folder", type=Path)
    told.add_argument("--speed", type=float, default=1.0)
    told.add_argument("--blows", type=int)
    asked = told.parse_args()
    for written in Replay(asked.folder, blows=asked.blows).run(asked.speed):
        print(written.name, flush=True)
