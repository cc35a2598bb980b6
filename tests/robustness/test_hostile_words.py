"""Words of the user's own that other programs could take for orders: they come out as words, everywhere."""

import csv
import io
import json
import re
import shutil
import zipfile
from xml.etree import ElementTree

import pypdf
import pytest

from dyntest.presenting.tables import FORMULA_STARTS

HOSTILE = {
    "mathematics that is broken": r"P$3 \frac{$",
    "mathematics that is whole": "P$x^2$",
    "a lone dollar": "P$1",
    "a formula": "=1+1",
    "a command of a spreadsheet": "=cmd|' /C calc'!A0",
    "a formula with a sign": "+1+1",
    "a formula with an at": "@SUM(1)",
    "a script": "<script>alert(1)</script>",
    "an entity": "&xxe; ]]> <!ENTITY a 'b'>",
    "an order of the typesetter": '#panic("x") #read("/etc/passwd")',
    "marks of the typesetter": "*a* _b_ `c` <d> @e $f$ \\ // /* [g] #h = i",
    "an open bracket of the typesetter": "] #let x = [",
    "brackets of a format": "{0} {pile} %s %(x)s {{",
    "quotes": "\"'`",
    "strokes": "..\\..\\x / ../../x",
    "another direction": "חצי P3",
    "letters beyond the first plane": "𝔓3 🏗",
    "marks heaped on a letter": "P" + "\u0301" * 200,
    "a name that is very long": "P" * 3000,
    "a name of one very long number": "9" * 400,
    "a blank": "P\u00b73",
}


def text_of(pdf: bytes) -> str:
    return "".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages)


def whole(folder) -> list[str]:
    """Check that every result can be opened by what opens such files; give the cells of all CSV files."""
    cells = []
    assert list(folder.rglob("*"))
    for path in folder.rglob("*"):
        data = path.read_bytes() if path.is_file() else b""
        if path.suffix == ".svg":
            tree = ElementTree.fromstring(data)
            assert not [node for node in tree.iter() if node.tag.endswith("script")]
        elif path.suffix == ".json":
            json.loads(data, parse_constant=pytest.fail)
        elif path.suffix == ".pdf":
            assert pypdf.PdfReader(io.BytesIO(data)).pages
        elif path.suffix == ".csv":
            cells += [cell for row in csv.reader(io.StringIO(data.decode())) for cell in row]
        elif path.suffix == ".xlsx":
            assert zipfile.ZipFile(io.BytesIO(data)).testzip() is None
    return cells


def no_formula(cells) -> None:
    for cell in cells:
        if cell.startswith(FORMULA_STARTS):
            float(cell)  # a negative number is none


WORDS = tuple(HOSTILE.values())


@pytest.mark.sweep
@pytest.mark.parametrize("first", range(0, len(WORDS), 3))
def test_words_in_the_sheet_come_out_as_words(folder, run, first):
    word, *_ = three = [WORDS[(first + i) % len(WORDS)] for i in range(3)]
    sheet = folder / "sheet.toml"
    text = sheet.read_text()
    for old, new in zip(('"P3-1"', '"Invented crossing"', '"Invented bridge"'), three, strict=True):
        text = text.replace(old, json.dumps(new, ensure_ascii=False))
    sheet.write_text(text, encoding="utf-8")
    status, out, err = run("review", sheet, "--match", "none")
    assert (status, err) == (0, "")
    assert all(c.isprintable() or c == "\n" for c in out)
    no_formula(whole(folder / "review"))
    assert json.loads((folder / "review" / "summary.json").read_text())["pile"] == word


def test_the_typesetter_prints_orders_as_they_stand(folder, run):
    sheet = folder / "sheet.toml"
    order = '#read("sheet.toml")'
    sheet.write_text(sheet.read_text().replace('"P3-1"', json.dumps(order)))
    assert run("review", sheet, "--match", "none")[0] == 0
    printed = text_of((folder / "review" / "report.pdf").read_bytes())
    assert re.sub(r"\s", "", order) in re.sub(r"\s", "", printed).replace("“", '"').replace("”", '"')


@pytest.fixture
def check(folder, run, reviewed_once, monkeypatch):
    """Run the check of a production log against a test pile that is reviewed once for all."""
    monkeypatch.setattr("dyntest.reviewing.review.review", lambda *_, **__: reviewed_once)
    return lambda log: run("check", folder / "sheet.toml", log, "--out", folder / "out")


@pytest.mark.parametrize("word", HOSTILE.values(), ids=HOSTILE.keys())
def test_words_in_the_logs_come_out_as_words(folder, check, word):
    with (folder / "production.csv").open("w", newline="", encoding="utf-8") as file:
        rows = csv.writer(file)
        rows.writerow(["pile", "depth_from [ft]", "depth_to [ft]", "blows", "stroke [ft]", "date", "remark"])
        rows.writerow([word, 0, 30, 40, 6, word, word])
        rows.writerow([word, 30, 41, 90, 8.5, word, word])
    status, out, err = check(folder / "production.csv")
    assert (status, err) == (0, ""), err
    assert all(c.isprintable() or c == "\n" for c in out)
    no_formula(whole(folder / "out"))


ESCAPES = ["\x1b[2J", "\x1b]0;owned\x07", "\x9b31m", "\r", "\x08\x08", "\u202e", "\u2066", "\x7f"]


@pytest.mark.parametrize("escape", ESCAPES, ids=ascii)
def test_no_escape_from_a_log_reaches_the_terminal_or_a_file(folder, check, escape):
    path = folder / "production.csv"
    path.write_bytes(path.read_text().replace("B1", f'"B{escape}1"').encode())
    status, out, err = check(path)
    assert status in (0, 1)
    assert all(c.isprintable() or c == "\n" for c in out + err), ascii(out + err)
    for made in (folder / "out").rglob("*.csv"):
        assert all(c.isprintable() or c == "\n" for c in made.read_text(encoding="utf-8"))


@pytest.mark.sweep
@pytest.mark.parametrize("escape", ESCAPES, ids=ascii)
def test_no_escape_from_a_folder_reaches_the_terminal(folder, tmp_path, run, escape):
    odd = tmp_path / f"P{escape}3"
    shutil.copytree(folder, odd)
    for word in ("sheet.toml", "none.toml"):
        status, out, err = run("review", odd / word, "--match", "none")
        assert status == (0 if word == "sheet.toml" else 1)
        assert all(c.isprintable() or c == "\n" for c in out + err), ascii(out + err)
