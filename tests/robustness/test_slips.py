"""Chance spoils the files of a sound test pile: whatever comes, a run ends with answers or with one clear line."""

import contextlib
import io
import json
import math
import shutil

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from dyntest import cli
from dyntest.presenting.summary import summary_json
from dyntest.presenting.tables import blows_csv

pytestmark = pytest.mark.sweep

MANY = settings(
    max_examples=140,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
    phases=[Phase.explicit, Phase.generate, Phase.shrink],
)
FEWER = settings(MANY, max_examples=60)

TOKENS = [
    "nan", "inf", "-inf", "1e308", "-1e308", "1e-308", "0", "-0", "-1", "2147483648", "9223372036854775808", "0x10",
    "1_0", "true", "null", "", " ", "\t", "\r", "\n", "\r\n", "\n\n", "\0", "\x1a", "\x1b[31m", "\ufeff", "\u202e",
    "µ", "é", "٣", '"', "'", '"""', ",", ";", "|", ".", "=", "[", "]", "[[", "]]", "{", "}", "#", "\\", "\\u0000", "/",
    "../", "*", "%", "$", "ft", "kip", "m", "[m]", "[s]", "strain_1", "blow", "drive", "-", "+", "E", "e5",
]  # fmt: skip
"""What a slip, a broken program or an attack puts into a text."""


def changes():
    """Give a strategy of a few changes: where (a share of the text), what is done, and with which token."""
    kinds = st.sampled_from(["insert", "replace", "delete", "double line", "drop line", "swap lines", "cut"])
    one = st.tuples(st.floats(0, 1, exclude_max=True), kinds, st.sampled_from(TOKENS), st.integers(1, 12))
    return st.lists(one, min_size=1, max_size=4)


def changed(text: str, steps) -> str:
    for share, kind, token, length in steps:
        place = int(share * len(text))
        lines = text.split("\n")
        line = int(share * len(lines))
        if kind == "insert":
            text = text[:place] + token + text[place:]
        elif kind == "replace":
            text = text[:place] + token + text[place + length :]
        elif kind == "delete":
            text = text[:place] + text[place + length :]
        elif kind == "cut":
            text = text[: max(place, len(text) // 4)]
        else:
            if kind == "double line":
                lines.insert(line, lines[line])
            elif kind == "drop line":
                del lines[line]
            else:
                other = (line + length) % len(lines)
                lines[line], lines[other] = lines[other], lines[line]
            text = "\n".join(lines)
    return text


@pytest.fixture
def ends_well(folder, one_line, monkeypatch):
    """Give a check that a run with one file changed ends with answers or with one line, and leaves no other trace."""

    def quick(review, *_, **__):  # the figures and the report are drawn from the same numbers and take most of the time
        return {"summary.json": summary_json(review), **{f"{d.name}.csv": blows_csv(d.table) for d in review.drives}}

    monkeypatch.setattr("dyntest.presenting.files.files_with_figures", quick)
    sheet, out, answers = folder / "sheet.toml", folder.parent / "out", []

    def check(name: str, content: bytes) -> bytes | None:
        sound = (folder / name).read_bytes() if (folder / name).exists() else None
        (folder / name).write_bytes(content)
        shutil.rmtree(out, ignore_errors=True)
        told, err, status = io.StringIO(), io.StringIO(), 0
        with contextlib.redirect_stdout(told), contextlib.redirect_stderr(err):
            try:
                cli.main([str(w) for w in ("review", sheet, "--match", "none", "--out", out)])
            except SystemExit as left:
                status = left.code
        assert (folder / name).read_bytes() == content
        if sound is not None:
            (folder / name).write_bytes(sound)
        assert all(c.isprintable() or c == "\n" for c in told.getvalue())
        if status == 0:
            assert err.getvalue() == ""
            assert_finite(json.loads((out / "summary.json").read_text()))
            answers.append((out / "initial.csv").read_bytes())
            shutil.rmtree(out)
        else:
            assert (status, told.getvalue()) == (1, "")
            one_line(err.getvalue())
        assert not out.exists()
        return answers.pop() if status == 0 else None

    return check


def assert_finite(value) -> None:
    if isinstance(value, dict | list):
        for inner in value.values() if isinstance(value, dict) else value:
            assert_finite(inner)
    assert not isinstance(value, float) or math.isfinite(value)


def encoded(text: str) -> bytes:
    return text.encode("utf-8", "surrogatepass")


@MANY
@given(steps=changes())
def test_a_sheet_with_slips(folder, ends_well, steps):
    ends_well("sheet.toml", encoded(changed((folder / "sheet.toml").read_text(), steps)))


@FEWER
@given(steps=changes(), head=st.booleans())
def test_records_with_slips(folder, ends_well, steps, head):
    text = (folder / "initial.csv").read_text("utf-8")
    if head:  # the header is short, and chance would seldom meet it
        steps = [(share * 0.003, *rest) for share, *rest in steps if rest[0] != "cut"]
    ends_well("initial.csv", encoded(changed(text, steps)))


@MANY
@given(steps=changes())
def test_a_driving_log_with_slips(folder, ends_well, steps):
    ends_well("log.csv", encoded(changed((folder / "log.csv").read_text(), steps)))


@MANY
@given(steps=changes(), table=st.sampled_from(["production.csv", "piles.csv"]))
def test_production_tables_with_slips(folder, one_line, steps, table):
    from dyntest.errors import InputError
    from dyntest.reading.production_log import read_pile_table, read_production_log

    read = read_production_log if table == "production.csv" else read_pile_table
    (folder / "spoilt.csv").write_bytes(encoded(changed((folder / table).read_text(), steps)))
    try:
        read(folder / "spoilt.csv")
    except InputError as wrong:
        one_line(f"{wrong}\n", ["P3-1/spoilt.csv"])


@pytest.fixture(scope="module")
def packed(tmp_path_factory, sound_records):
    """Where the records lie as Parquet in two ways: plain with checksums of its pages, and packed without."""
    folder = tmp_path_factory.mktemp("packed")
    sound_records().to_parquet(folder / "a", index=False, compression=None, write_page_checksum=True)
    sound_records().to_parquet(folder / "b", index=False, compression="zstd", use_dictionary=False)
    return folder


@MANY
@given(
    which=st.sampled_from("ab"),
    footer=st.booleans(),
    places=st.lists(st.tuples(st.floats(0, 1, exclude_max=True), st.integers(1, 255)), min_size=1, max_size=6),
    kept=st.one_of(st.just(1.0), st.floats(0, 1)),
)
def test_parquet_with_wrong_bytes(folder, ends_well, packed, which, footer, places, kept):
    data = bytearray((packed / which).read_bytes())
    begin = len(data) - 3000 if footer else 4  # the first mark carries nothing, and is not looked at
    for share, mask in places:
        data[begin + int(share * (len(data) - begin))] ^= mask
    sheet = folder / "sheet.toml"
    sheet.write_text(sheet.read_text().replace("initial.csv", "initial.parquet"))
    answers = ends_well("initial.parquet", bytes(data[: int(kept * len(data))]))
    if which == "a" and not footer:  # pages that carry a checksum are never read wrong
        assert answers in (None, ends_well("initial.parquet", (packed / "a").read_bytes()))


@FEWER
@given(content=st.binary(max_size=300), name=st.sampled_from(["sheet.toml", "initial.csv", "log.csv"]))
def test_bytes_of_chance(ends_well, content, name):
    assert ends_well(name, content) is None


@FEWER
@given(
    text=st.text(st.characters(exclude_categories=["Cs"]), max_size=100),
    key=st.sampled_from(["4.0 kip", "46 ft", "HP12x74", "steel", "initial.csv", "log.csv", "strain_1", "silt"]),
)
def test_any_text_for_a_value(folder, ends_well, text, key):
    sheet = (folder / "sheet.toml").read_text()
    ends_well("sheet.toml", encoded(sheet.replace(f'"{key}"', json.dumps(text), 1)))
