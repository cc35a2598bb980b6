"""Bad signal tables as Parquet: damaged, declared beyond all bounds, packed to burst, of other kinds."""

import resource
import struct
import subprocess
import sys
from decimal import Decimal

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

S1, TIME = "strain_1 [µm/m]", "time [s]"


@pytest.fixture
def spoil(folder, sound_records):
    """Write the records as Parquet after a change of the Arrow table, and name that file in the sheet."""

    def call(change=lambda table: table, **options):
        sheet = folder / "sheet.toml"
        sheet.write_text(sheet.read_text().replace("initial.csv", "initial.parquet"))
        table = change(pa.Table.from_pandas(sound_records(), preserve_index=False))
        pq.write_table(table, folder / "initial.parquet", **options)
        return folder / "initial.parquet"

    return call


def of(name, make):
    """Put another column in the place of one."""

    def change(table):
        index = table.schema.get_field_index(name)
        made = make(table.column(name).to_numpy(), table.num_rows)
        return table.set_column(index, name, made if isinstance(made, (pa.Array, pa.ChunkedArray)) else pa.array(made))

    return change


def strings(x, n):
    return [str(value) for value in x]


COLUMNS = {
    "numbers as text": of(S1, strings),
    "numbers as text in a dictionary": of(S1, lambda x, n: pa.array(strings(x, n)).dictionary_encode()),
    "numbers as long text": of(S1, lambda x, n: pa.array(strings(x, n), pa.large_string())),
    "bytes": of(S1, lambda x, n: pa.array([bytes(4)] * n)),
    "bytes of fixed width": of(S1, lambda x, n: pa.array([bytes(8)] * n, pa.binary(8))),
    "true and false": of(S1, lambda x, n: x > 0),
    "nothing at all": of(S1, lambda x, n: pa.nulls(n)),
    "gaps throughout": of(S1, lambda x, n: pa.nulls(n, pa.float64())),
    "one gap": of(S1, lambda x, n: pa.array(x, mask=np.arange(n) == 77)),
    "one gap among whole numbers": of(S1, lambda x, n: pa.array(x.astype(int), mask=np.arange(n) == 77)),
    "not a number": of(S1, lambda x, n: np.where(np.arange(n) == 77, np.nan, x)),
    "infinity": of(S1, lambda x, n: np.where(np.arange(n) == 77, -np.inf, x)),
    "half precision that overflows": of(S1, lambda x, n: pa.array(np.full(n, np.inf, np.float16))),
    "lists": of(S1, lambda x, n: pa.array([[value] for value in x])),
    "lists of lists": of(S1, lambda x, n: pa.array([[[value]] for value in x])),
    "lists of fixed length": of(S1, lambda x, n: pa.FixedSizeListArray.from_arrays(pa.array(x), 1)),
    "structures": of(S1, lambda x, n: pa.array([{"value": value} for value in x])),
    "a structure whose leaf has the name of the column": of(S1, lambda x, n: pa.array([{S1: value} for value in x])),
    "maps": of(S1, lambda x, n: pa.array([[("a", value)] for value in x], pa.map_(pa.string(), pa.float64()))),
    "dates": of(S1, lambda x, n: pa.array(np.arange(n, dtype=np.int32), pa.date32())),
    "instants": of(TIME, lambda x, n: pa.array(np.arange(n), pa.timestamp("us"))),
    "times of day": of(TIME, lambda x, n: pa.array(np.arange(n), pa.time64("us"))),
    "durations": of(TIME, lambda x, n: pa.array(np.arange(n), pa.duration("us"))),
    "decimals beyond every bound": of(S1, lambda x, n: pa.array([Decimal(10) ** 30] * n, pa.decimal128(38, 0))),
    "unsigned whole numbers beyond every bound": of(S1, lambda x, n: np.full(n, 2**64 - 1, np.uint64)),
    "blows as text": of("blow", strings),
    "blows as whole numbers of the lowest bound": of("blow", lambda x, n: np.full(n, -(2**63))),
    "a missing column": lambda t: t.drop_columns(S1),
    "no columns": lambda t: t.select([]),
    "no rows": lambda t: t.slice(0, 0),
    "one row": lambda t: t.slice(0, 1),
    "a column twice": lambda t: t.append_column(S1, t.column(S1)),
    "a column in two units": lambda t: t.append_column("strain_1 [m/m]", t.column(S1)),
    "a column without a unit": lambda t: t.rename_columns([n.partition(" [")[0] for n in t.column_names]),
    "columns of empty names": lambda t: t.rename_columns([""] * t.num_columns),
    "columns with escapes in their names": lambda t: t.rename_columns(["\x1b[2J\x07" + n for n in t.column_names]),
    "a column named by a megabyte": lambda t: t.rename_columns(["x" * 1_000_000, *t.column_names[1:]]),
    "two thousand columns beside the wanted ones, which are not there": lambda t: pa.table(
        {f"c{i}": [0.0] for i in range(2000)}
    ),
    "every channel 1e6 times too small": lambda t: of(S1, lambda x, n: x * 1e-6)(
        of("strain_2 [µm/m]", lambda x, n: x * 1e-6)(t)
    ),
}


@pytest.mark.parametrize("case", COLUMNS)
def test_columns_that_cannot_be_used(spoil, review_refused, case):
    spoil(COLUMNS[case])
    review_refused("P3-1/initial.parquet")


def deep(levels):
    kind = pa.float64()
    for _ in range(levels):
        kind = pa.list_(kind)
    return pa.schema([pa.field(S1, kind)]).empty_table()


@pytest.mark.parametrize("levels", [50, 1000])
def test_columns_nested_without_end(folder, spoil, review_refused, levels):
    path = spoil()
    try:
        pq.write_table(deep(levels), path)
    except (pa.ArrowException, RecursionError):
        pytest.skip("cannot even be written")
    review_refused("P3-1/initial.parquet")


def footer(data: bytes) -> slice:
    """Where the footer of a Parquet file lies."""
    (length,) = struct.unpack("<I", data[-8:-4])
    return slice(len(data) - 8 - length, len(data) - 8)


def varint(value: int) -> bytes:
    """Write a number as Thrift's compact protocol has it, zigzag and seven bits a byte."""
    value <<= 1
    out = b""
    while value > 127:
        out, value = out + bytes([value & 127 | 128]), value >> 7
    return out + bytes([value])


def declare(rows: int):
    """Let the footer declare another number of rows than the file has."""

    def change(data: bytes) -> bytes:
        place = footer(data)
        old, new = b"\x16" + varint(3040), b"\x16" + varint(rows)
        assert old in data[place]
        foot = data[place].replace(old, new)
        return data[: place.start] + foot + struct.pack("<I", len(foot)) + b"PAR1"

    return change


def garbled(share: float, seed: int = 0):
    """Change one byte in a hundred of a stretch that begins at a share of the file."""

    def change(data: bytes) -> bytes:
        spoilt = bytearray(data)
        begin = int(share * len(data))
        rng = np.random.default_rng(seed)
        for place in rng.integers(begin, min(begin + 2000, len(data) - 8), 20):
            spoilt[place] ^= int(rng.integers(1, 256))
        return bytes(spoilt)

    return change


BYTES = {
    "zero bytes": lambda b: b"",
    "the mark alone": lambda b: b"PAR1",
    "both marks alone": lambda b: b"PAR1PAR1",
    "no mark at its end": lambda b: b[:-4],
    "the mark of an encrypted file": lambda b: b[:-4] + b"PARE",
    "a footer longer than the file": lambda b: b[:-8] + struct.pack("<I", len(b) * 2) + b"PAR1",
    "a footer of four gigabytes": lambda b: b[:-8] + b"\xff\xff\xff\xff" + b"PAR1",
    "a footer of no length": lambda b: b[:-8] + b"\0\0\0\0" + b"PAR1",
    "a footer of null characters": lambda b: b[: footer(b).start] + bytes(len(b[footer(b)])) + b[-8:],
    "a footer of ones": lambda b: b[: footer(b).start] + b"\xff" * len(b[footer(b)]) + b[-8:],
    "a footer cut in half": lambda b: b[: footer(b).start] + b[footer(b)][500:] + b[-8:],
    "no pages before the footer": lambda b: b"PAR1" + b[footer(b).start :],
    "pages of null characters": lambda b: b[:4] + bytes(footer(b).start - 4) + b[footer(b).start :],
    "more rows declared than there are": declare(3041),
    "fewer rows declared than there are": declare(2999),
    "a trillion rows declared": declare(10**12),
    "the most rows a number holds declared": declare(2**62),
    "no rows declared": declare(0),
    "fewer than no rows declared": lambda b: (
        b[: footer(b).start] + b[footer(b)].replace(b"\x16" + varint(3040), b"\x16\x01") + b[-8:]
    ),
    "CSV under the name of Parquet": lambda b: b"blow,time [s]\n1,0\n" * 50,
    "an Arrow file": lambda b: b"ARROW1\0\0" + b[8:],
    "broken off at a tenth": lambda b: b[: len(b) // 10],
    "broken off at its half": lambda b: b[: len(b) // 2],
    "broken off one byte before its end": lambda b: b[:-1],
    "a byte too many": lambda b: b + b"\0",
    **{f"garbled in its pages at {share:.0%}": garbled(share) for share in (0.01, 0.2, 0.5)},
}


@pytest.mark.parametrize("case", BYTES)
def test_bytes_that_are_no_whole_parquet(spoil, review_refused, case):
    path = spoil(write_page_checksum=True)
    path.write_bytes(BYTES[case](path.read_bytes()))
    review_refused("P3-1/initial.parquet")


BOMBS = {
    "pages that unfold a thousand times": """
part = pa.table({name: np.zeros(3_000_000) for name in names})
with pq.ParquetWriter(path, part.schema, compression="zstd") as out:
    for _ in range(4):  # not more rows than are read from one file
        out.write_table(part)
""",
    "a dictionary of one long text": """
text = pa.array(["x" * 10_000_000]).dictionary_encode()
column = pa.DictionaryArray.from_arrays(np.zeros(3000, np.int32), text.dictionary)
pq.write_table(pa.table({name: column for name in names}), path, compression="zstd")
""",
    "a list of two million entries": """
column = pa.ListArray.from_arrays([0, 2_000_000], pa.array(np.zeros(2_000_000)))
pq.write_table(pa.table({name: column for name in names}), path, compression="zstd")
""",
}

WRITER = """
import sys
import numpy as np, pyarrow as pa, pyarrow.parquet as pq
path, names = sys.argv[1], sys.argv[2:]
"""


@pytest.mark.sweep
@pytest.mark.parametrize("case", BOMBS)
def test_a_parquet_that_bursts_is_refused_in_bounded_memory(folder, spoil, case):
    path = spoil()
    names = pq.ParquetFile(path).schema_arrow.names
    subprocess.run([sys.executable, "-c", WRITER + BOMBS[case], path, *names], check=True)
    assert path.stat().st_size < 5e6

    def at_most():
        resource.setrlimit(resource.RLIMIT_AS, (4 * 2**30, 4 * 2**30))

    words = [sys.executable, "-m", "dyntest.cli", "review", folder / "sheet.toml", "--match", "none"]
    told = subprocess.run(words, capture_output=True, text=True, timeout=300, preexec_fn=at_most)
    assert told.returncode == 1, told.stderr[-500:]
    assert told.stdout == ""
    assert told.stderr.startswith("P3-1/initial.parquet") and told.stderr.count("\n") == 1
