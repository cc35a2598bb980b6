"""A small valid test on disk, in parts that a test can break one at a time."""

import copy
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from dyntest.errors import InputError

N_BLOWS, N_SAMPLES, STEP = 3, 200, 5e-5

SI_SHEET = {
    "format": "1",
    "test": {"project": '"Invented crossing"', "structure": '"Pier 2"', "pile": '"P2-4"', "display_units": '"SI"'},
    "pile": {
        "material": '"steel"',
        "section": '"HP12x53"',
        "length_below_gauges": '"17 m"',
        "total_length": '"18 m"',
        "yield_strength": '"345 MPa"',
    },
    "hammer": {"kind": '"open-end diesel"', "ram_mass": '"3000 kg"', "rated_energy": '"90 kJ"'},
    "gauges": {
        "strain": '["strain_1", "strain_2"]',
        "acceleration": '["acceleration_1", "acceleration_2"]',
    },
    "requirement": {"nominal_resistance": '"1700 kN"'},
    "soil": {"shaft": '"clay"', "toe": '"sand"'},
    "drive": [{"kind": '"initial"', "signals": '"initial.csv"'}],
}


def toml(sheet: dict) -> str:
    """Write nested dicts of ready TOML values as a sheet."""
    lines = []

    def table(name: str, values: dict, double: bool = False) -> None:
        lines.append(f"[[{name}]]" if double else f"[{name}]")
        for key, value in values.items():
            if not isinstance(value, (dict, list)):
                lines.append(f"{key} = {value}")
        nest(values, f"{name}.")

    def nest(values: dict, prefix: str) -> None:
        for key, value in values.items():
            if isinstance(value, dict):
                table(prefix + key, value)
            elif isinstance(value, list):
                for entry in value:
                    table(prefix + key, entry, double=True)

    lines += [f"{key} = {value}" for key, value in sheet.items() if not isinstance(value, (dict, list))]
    nest(sheet, "")
    return "\n".join(lines) + "\n"


def frame(blows: int = N_BLOWS, samples: int = N_SAMPLES) -> pd.DataFrame:
    """Give an invented signals table in which every value tells its blow, channel and sample."""
    blow = np.repeat(np.arange(1, blows + 1), samples)
    sample = np.tile(np.arange(samples), blows)
    return pd.DataFrame(
        {
            "blow": blow,
            "time [s]": np.round(-0.002 + STEP * sample, 8),
            "strain_1 [µm/m]": 100.0 * blow + 0.25 * sample,
            "strain_2 [µm/m]": 200.0 * blow + 0.25 * sample,
            "acceleration_1 [m/s^2]": 10.0 * blow - 0.5 * sample,
            "acceleration_2 [m/s^2]": 20.0 * blow - 0.5 * sample,
            "clock [s]": 1.5 * (blow - 1),
            "penetration [m]": 10.0 + 0.125 * blow,
        }
    )


@pytest.fixture
def signals_frame():
    """Give the maker of an invented signals table."""
    return frame


@pytest.fixture
def write_sheet(tmp_path):
    """Give a writer of the small test: changes by "table.key", a value of None takes the key out."""

    def write(changes: dict | None = None, data: pd.DataFrame | None = None, name: str = "initial.csv") -> Path:
        sheet = copy.deepcopy(SI_SHEET)
        for path, value in (changes or {}).items():
            *above, key = path.split(".")
            place = sheet
            for step in above:
                place = place[int(step)] if step.isdigit() else place.setdefault(step, {})
            if value is None:
                del place[key]
            else:
                place[key] = value
        folder = tmp_path / "P2-4"
        folder.mkdir(exist_ok=True)
        data = frame() if data is None else data
        if name.endswith(".parquet"):
            data.to_parquet(folder / name, index=False)
        else:
            data.to_csv(folder / name, index=False)
        (folder / "sheet.toml").write_text(toml(sheet), encoding="utf-8")
        return folder / "sheet.toml"

    return write


@pytest.fixture
def refuses():
    """Give a check that a call ends in one clear line that names file, place, problem and cure."""

    def check(call, *needles: str) -> str:
        with pytest.raises(InputError) as caught:
            call()
        message = str(caught.value)
        assert message.isprintable(), "a message is one line"
        assert len(message) < 500
        assert "Traceback" not in message
        assert caught.value.source and caught.value.problem and caught.value.cure
        for needle in needles:
            assert needle in message, f"{needle!r} is not in {message!r}"
        return message

    return check
