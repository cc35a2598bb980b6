"""A test sheet written or changed on the page: its rows of layers and parts, and what lay beside it before."""

import pandas as pd
import pytest
from dyntest_dashboard import draft as drafts

from dyntest.errors import InputError
from dyntest.reading.files import ChangedError
from dyntest.reading.sheet import read_sheet

LAYERS = [{"to": "12 ft", "soil": "clay", "words": "soft grey clay"}, {"to": "50 ft", "soil": "sand"}]
PARTS = [{"length": "20 ft", "area": "24 in^2"}, {"length": "28 ft", "area": "26.1 in^2"}]


@pytest.fixture
def changed(small_test):
    """A draft of a sheet that exists, with layers."""
    draft = drafts.draft_of(small_test)
    draft.rows["soil.layer"] = list(LAYERS)
    return draft


def test_layers_and_parts_that_are_typed_are_in_the_sheet_and_read_back(changed, small_test):
    length = changed.typed["pile"]["length_below_gauges"]
    changed.rows["pile.part"] = [
        {"length": "5 ft", "area": "30 in^2"},
        {"length": f"{float(length.split()[0]) - 5} ft"},
    ]
    assert drafts.problems(changed) == []
    path = drafts.write(changed, small_test.parent)
    sheet = read_sheet(path)
    assert [(layer.soil, round(layer.bottom / 0.3048, 6)) for layer in sheet.soil.layers] == [
        ("clay", 12),
        ("sand", 50),
    ]
    assert round(sheet.pile.parts[0].length / 0.3048, 3) == 5.0
    assert sheet.pile.parts[0].area != sheet.pile.parts[1].area
    again = drafts.draft_of(path)
    assert again.rows == changed.rows
    assert drafts.draft_text(again) == path.read_text()  # what is not changed stays byte by byte
    again.rows["soil.layer"] = again.rows["soil.layer"][:1]
    assert len(read_sheet(drafts.write(again, small_test.parent)).soil.layers) == 1


def test_a_sheet_with_windows_line_ends_keeps_them(small_test):
    small_test.write_bytes(b"\xef\xbb\xbf" + small_test.read_bytes().replace(b"\n", b"\r\n"))
    draft = drafts.draft_of(small_test)
    draft.rows["soil.layer"] = list(LAYERS)
    written = drafts.write(draft, small_test.parent).read_bytes()
    assert written.count(b"\n") == written.count(b"\r\n") and b"soft grey clay" in written


def test_a_sheet_that_another_changed_or_put_there_stays(changed, small_test):
    theirs = small_test.read_bytes() + b"# of another\n"
    small_test.write_bytes(theirs)
    before = sorted(small_test.parent.iterdir())
    with pytest.raises(ChangedError, match="changed by another"):
        drafts.write(changed, small_test.parent)
    changed.path = None  # as if it were a new test in the folder of this one
    with pytest.raises(ChangedError, match="already exists"):
        drafts.write(changed, small_test.parent)
    assert small_test.read_bytes() == theirs and sorted(small_test.parent.iterdir()) == before


def test_rows_without_a_unit_or_a_depth_are_named(changed):
    changed.rows["soil.layer"] = [{"to": "12", "soil": "clay"}, {"soil": "mud"}]
    told = drafts.problems(changed)
    assert [line.partition(",")[0] for line in told] == ["soil layer 1", "soil layer 2", "soil layer 2"]


def test_the_table_of_rows_gives_back_what_it_was_made_of(changed):
    table = drafts.row_table(changed, "soil.layer")
    assert drafts.rows_typed(table) == LAYERS
    table.loc[len(table)] = ["", " ", ""]
    assert drafts.rows_typed(table) == LAYERS


def test_a_log_that_lies_there_is_kept_beside_the_one_that_is_written(changed, small_test):
    folder = small_test.parent
    lay = folder / drafts.LOG_NAME
    lay.write_text("depth_from [ft],depth_to [ft],blows\n30,31,7\n")
    before = lay.read_bytes()
    changed.log = pd.DataFrame({"from": [48.0], "to": [49.0], "blows": [5], "stroke": [None], "remark": [""]})
    name = drafts.kept_log(changed, folder)
    drafts.write(changed, folder)
    assert (folder / name).read_bytes() == before
    assert lay.read_bytes() == drafts.log_csv(changed) != before
    assert drafts.kept_log(changed, folder) == ""  # the same again is no other log
    changed.log = changed.log.assign(blows=6)
    second = drafts.kept_log(changed, folder)
    assert second not in ("", name)
    changed.rows["pile.part"] = PARTS[:1]  # shorter than the pile, so nothing may be written
    kept = sorted(path.name for path in folder.iterdir()), lay.read_bytes()
    with pytest.raises(InputError):
        drafts.write(changed, folder)
    assert (sorted(path.name for path in folder.iterdir()), lay.read_bytes()) == kept
