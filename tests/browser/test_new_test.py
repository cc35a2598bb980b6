"""From a recorder's own export and an inspector's workbook to the answer, without a text editor."""

import tomllib

import pandas as pd
import pytest
from dyntest_dashboard.pages import PAGES

from dyntest.reading.sheet import read_sheet
from dyntest.units import STANDARD_GRAVITY


@pytest.fixture
def export(small_test, tmp_path):
    """Tab-separated files of a blow each, tension and upward positive, in g; and the log as a workbook."""
    openpyxl = pytest.importorskip("openpyxl")
    folder = tmp_path / "export"
    folder.mkdir()
    records = pd.read_parquet(small_test.parent / "initial.parquet")
    for number, (_, rows) in enumerate(records.groupby("blow"), 1):
        lines = ["General recorder", "Serial 17", "", "Time\tCH1\tCH2\tCH3\tCH4"]
        for row in rows.to_dict("records"):
            strains = [-row[f"strain_{n} [µm/m]"] for n in (1, 2)]
            motions = [-row[f"acceleration_{n} [m/s^2]"] / STANDARD_GRAVITY for n in (1, 2)]
            numbers = [1e3 * row["time [s]"], *strains, *motions]
            lines.append("\t".join(f"{number:.6g}" for number in numbers))
        (folder / f"blow_{number}.txt").write_text("\n".join(lines) + "\n")
    book = openpyxl.Workbook()
    page = book.active
    count = records["blow"].nunique()
    for row in (("Inspector", "A. B."), (), ("Depth (ft)", "Blows", "Notes"), (49, 2, ""), (50, count, "end")):
        page.append(row)
    book.save(folder / "inspector.xlsx")
    return folder


def test_from_an_export_and_a_workbook_to_the_answer(visit, serve_another, export, tmp_path):
    with serve_another(tmp_path) as served:
        seen = visit(at=served)
        seen.go_to(PAGES["new_test"].title, PAGES["new_test"].question)
        seen.type_in("new_paths_0", str(export / "blow_*.txt"))
        seen.until_shown(".dyntest-channel", "CH4")
        seen.page.get_by_text(
            "12 files: blow_1.txt, blow_2.txt, blow_3.txt"
        ).first.wait_for()  # blow_10 is not the second
        seen.type_in("new_pile_length_below_gauges", "50")
        seen.until_shown(".dyntest-wrong", "has no unit")
        for key, text in {
            "new_pile_length_below_gauges": "50 ft",
            "new_test_pile": "TP-1",
            "new_pile_section": "HP14x89",
            "new_requirement_nominal_resistance": "500 kip",
            "new_requirement_damping_factor": "0.4",
            "new_drive_penetration_at_start_0": "48 ft",
        }.items():
            seen.type_in(key, text)
        seen.page.locator(".st-key-new_pile_material").get_by_text("steel", exact=True).click()
        seen.rest()
        seen.page.locator(".st-key-new_log_file input[type=file]").set_input_files(str(export / "inspector.xlsx"))
        seen.rest()
        seen.button("new_write").click()
        seen.until_shown(".dyntest-question", PAGES["trust"].question)
        seen.page.locator("svg.dyntest-record path[data-trace=force]").wait_for()
        assert "TP-1" in seen.page.locator(".dyntest-strip").inner_text()
        sheet = read_sheet(export / "sheet.toml")
        assert sheet.records.channels["strain_1"].positive == "tension"
        assert sheet.records.channels["acceleration_1"].unit == "g"
        assert sheet.pile.section == "HP14x89" and sheet.drives[0].log is not None
        assert "#" in sheet.text and tomllib.loads(sheet.text)["pile"]["length_below_gauges"] == "50 ft"
        seen.go_to(PAGES["resistance"].title, PAGES["resistance"].question)
        assert "kip" in seen.answer()
        assert seen.complaints == []


def test_a_sheet_is_changed_in_the_form_and_keeps_its_remarks(visit, serve_another, tmp_path):
    with serve_another(tmp_path) as served:
        sheet = tmp_path / "served" / "sheet.toml"
        sheet.write_text("# a remark of the engineer\n" + sheet.read_text())
        seen = visit(at=served)
        seen.go_to(PAGES["new_test"].title, PAGES["new_test"].question)
        seen.button("new_change").click()
        seen.until_shown(".dyntest-answer", "served/sheet.toml")
        seen.type_in("new_requirement_nominal_resistance", "444 kip")
        seen.button("new_write").click()
        seen.until_shown(".dyntest-strip", "required 444 kip")
        text = sheet.read_text()
        assert text.startswith("# a remark of the engineer\n") and 'nominal_resistance = "444 kip"' in text
        assert seen.complaints == []
