"""The board of a structure: frames, words and files say what the review says, each pile once."""

import io
import json
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from dyntest.decisions.bearing_oddities import HIGH_STROKE
from dyntest.decisions.estimate import Estimate
from dyntest.decisions.trust import Caution
from dyntest.hammer import Hammer
from dyntest.presenting import structure_files as structure_module
from dyntest.presenting.bearing_words import reason
from dyntest.presenting.frames_decisions import setup_band, setup_points, setup_starts
from dyntest.presenting.report.card import card as criterion_card
from dyntest.presenting.report.described import hammer_facts
from dyntest.presenting.structure_board import (
    VERDICT_MARKS,
    board_answer,
    group_words,
    hammer_points,
    hammer_rows,
    is_sound,
    is_unusable,
    odd_rows,
    pair_counts,
    pair_rows,
    pay_rows,
    plan,
    resistance_lines,
    result_rows,
    setup_note,
    soil_profiles,
    structure_lines,
    to_do,
)
from dyntest.presenting.structure_files import board_figures, structure_files
from dyntest.reading.structure_sheet import read_structure
from dyntest.reviewing.pile_result import SetupPoint, pooled_setups
from dyntest.reviewing.structure import review_structure


@pytest.fixture(scope="module")
def structure(told_sample, request):
    """The sample structure, nothing of it reviewed."""
    return review_structure(
        read_structure(request.config.rootpath / "sample_signals/structure.toml"), known=told_sample
    )


def test_every_pile_stands_on_the_plan_with_its_verdict(structure):
    places = plan(structure)
    check = structure.groups[0].check.piles.set_index("pile")
    assert sorted(places["pile"]) == sorted([*check.index, *structure.groups[1].check.piles["pile"]])
    assert set(places["verdict"]) <= set(VERDICT_MARKS)
    shown = places.set_index("pile")
    assert shown.loc["P2-4", "verdict"] == "test pile" and shown.loc["P2-24", "verdict"] == "no counts"
    others = shown.loc[check.index.difference(["P2-4", "P2-24"])]
    assert (others["verdict"] == check["verdict"][others.index]).all()
    assert shown.loc["P2-6", ["x", "y"]].tolist() == pytest.approx([6.0, 12.0])  # ft, as the table of piles has them
    metres = plan(replace(structure, display_units="SI")).set_index("pile")
    assert metres.loc["P2-6", ["x", "y"]].tolist() == pytest.approx([6.0 * 0.3048, 12.0 * 0.3048])
    assert shown.loc["P2-14", "odd"] and shown.loc["P2-14", "because"]


def test_piles_without_coordinates_stand_in_a_grid_by_name(structure):
    bare = replace(structure.groups[0], piles=replace(structure.groups[0].piles, x=None, y=None))
    places = plan(replace(structure, groups=(bare,)))
    assert not places["placed"].any() and not places[["x", "y"]].isna().any(axis=None)
    assert not places.duplicated(["x", "y"]).any()
    first = places.sort_values(["y", "x"], ascending=[False, True])["pile"].tolist()
    assert first[:10] == [f"P2-{number}" for number in range(1, 11)]
    drawn = board_figures(replace(structure, groups=(bare, structure.groups[1])))
    assert set(drawn) == {"plan", "grid", "setup", "depth", "hammer"}


def test_shapes_tell_verdicts_apart_without_colour():
    assert len({mark.shape for mark in VERDICT_MARKS.values()}) == len(VERDICT_MARKS)
    assert len({mark.marker for mark in VERDICT_MARKS.values()}) == len(VERDICT_MARKS)


def test_disagreeing_test_piles_are_said_first(structure):
    facts = {"sets": {"P2-4": 0.006, "P2-9": 0.003}, "stroke": 2.4}
    at_odds = replace(structure.groups[0], cautions=(Caution("test piles disagree", 0.01, None, facts),))
    found = replace(structure, groups=(at_odds, *structure.groups[1:]))
    assert "P2-9" in board_answer(found)[0] and "P2-9" not in board_answer(structure)[0]
    assert is_unusable(found) and not is_unusable(structure) and not is_sound(structure)


def test_counts_of_verdicts_are_those_of_the_check(structure):
    verdicts = structure.groups[0].check.piles["verdict"]
    accepted = int((verdicts == "accepted").sum())
    assert f"24 piles: {accepted} accepted" in group_words(structure.groups[0], "US").answer
    accepted += int((structure.groups[1].check.piles["verdict"] == "accepted").sum())
    assert board_answer(structure)[0].startswith(f"32 piles judged: {accepted} accepted")
    odd = odd_rows(structure.groups[0], "US")
    assert set(odd["pile"]) >= set(structure.groups[0].check.piles["pile"][verdicts != "accepted"])


def test_the_reason_for_not_accepting_a_pile_stands_before_what_is_unusual(structure):
    """A stroke that was too high is not why a count fell short."""
    group = structure.groups[0]
    failed = group.check.piles.query("status == 'not met'")["pile"].iloc[0]
    extra = pd.DataFrame([{"pile": failed, "kind": HIGH_STROKE, "depth": 10.0, "value": 3.2, "limit": 3.0, "note": ""}])
    check = replace(group.check, odd=extra.reindex(columns=group.check.odd.columns))
    told = odd_rows(replace(group, check=check), "US").set_index("pile").loc[failed, "because"]
    why, unusual = reason(check.piles.set_index("pile").loc[failed].to_dict(), check.criterion, "US"), "10.5 ft"
    assert told.startswith(why) and unusual in told.removeprefix(why)
    silent = odd_rows(group, "US").set_index("pile").loc["P2-24", "because"]
    assert silent.count("no counts") == 1


@pytest.fixture(scope="module")
def soon_restruck(structure, told_result):
    """A structure whose one pile was restruck an hour and a week after driving."""
    hour, week = 3600.0, 7.0 * 86400.0
    points = [SetupPoint("restrike", wait, Estimate(value, value - 0.05, value + 0.05), True)
              for wait, value in ((hour, 1.2), (week, 1.5))]  # fmt: skip
    pile = replace(told_result("P2-4"), setups=tuple(points))
    return replace(structure, records=(replace(structure.records[0], result=pile),), setups=pooled_setups([pile]))


def test_a_setup_line_says_where_it_starts_and_which_restrikes_it_rests_on(soon_restruck):
    points = setup_points(soon_restruck)
    assert points["fitted"].tolist() == [False, True]
    (start,) = setup_starts(soon_restruck).itertuples()
    band = setup_band(soon_restruck.setups[0], 14.0)
    assert (start.days, start.words) == (1.0, "t₀ = 1 day, clay") and band["days"].iloc[0] == start.days
    note = setup_note(soon_restruck)
    assert "reference time t₀" in note and "Hollow marks give no line: driven within 1.5 t₀" in note
    (record,) = soon_restruck.records
    late = replace(record, result=replace(record.result, setups=record.result.setups[1:]))
    assert "Hollow" not in setup_note(replace(soon_restruck, records=(late,)))
    drawn = board_figures(replace(soon_restruck, hammers=()))["setup"].decode()
    assert "t₀ = 1 day, clay" in drawn


def test_soils_with_one_reference_time_share_its_mark(soon_restruck):
    clay = soon_restruck.setups[0]
    both = replace(
        soon_restruck, setups=(clay, replace(clay, soil=""), replace(clay, soil="sand", reference_time=43200.0))
    )
    assert setup_starts(both)["words"].tolist() == ["t₀ = 1 day, clay, soil not named", "t₀ = 0.5 days, sand"]


@pytest.mark.parametrize("unit", ["", "ft"])
def test_the_legend_of_the_plan_with_all_verdicts_is_whole_and_below_the_heading(monkeypatch, unit):
    kept = []
    finish = structure_module.finished
    monkeypatch.setattr(
        structure_module, "finished", lambda figure, *a, **k: kept.append(figure) or finish(figure, *a, **k)
    )
    verdicts = list(VERDICT_MARKS) * 20
    places = pd.DataFrame({"pile": [f"B{n}" for n in range(len(verdicts))], "verdict": verdicts})
    places["x"], places["y"] = places.index % 12, -(places.index // 12)
    structure_module._plan_figure(places.astype({"x": float, "y": float}), unit)
    (figure,) = kept
    figure.canvas.draw()
    legend, whole = figure.axes[0].get_legend().get_window_extent(), figure.bbox
    assert whole.x0 <= legend.x0 and legend.x1 <= whole.x1 and legend.y1 <= whole.y1
    (words,) = [text.get_window_extent() for text in figure.texts]
    assert legend.y1 <= words.y0 + 1.0


def test_what_is_still_to_do_has_dates_and_waits(structure):
    due = pd.DataFrame({"pile": ["P2-2", "P2-1"], "since": "2026-05-18", "earliest": ["2026-05-30", "2026-05-25"]})
    group = replace(structure.groups[0], due=due)
    lines = to_do(replace(structure, groups=(group,)))
    restrikes = [line for line in lines if "restrike" in line]
    assert [line.split(" restrike ")[1].split(" on,")[0] for line in restrikes] == [
        "P2-1 from 2026-05-25",
        "P2-2 from 2026-05-30",
    ]
    assert any("P2-24" in line for line in lines)
    assert all("needs a criterion" not in line for line in lines)
    without = replace(group, criterion=None, check=None)
    assert any("needs a criterion" in line for line in to_do(replace(structure, groups=(without,))))


def test_test_piles_and_hammers_are_told_with_their_numbers(structure):
    assert result_rows(structure)["pile"].tolist() == ["P2-4", "A1-2", "A4-3", "P3-1"]
    struck = hammer_points(structure)
    assert struck["order"].tolist() == [1, 2, 3, 4] and struck["ratio"].tolist() == pytest.approx([53.0] * 4)
    assert struck["stress"].tolist() == pytest.approx([2.4 / 3.1] * 4)
    rows = hammer_rows(structure)
    assert rows["driven"].tolist() == ["2026-05-04", "2026-05-06", "2026-05-07", "2026-05-08"]
    assert set(rows["stroke"]) == {"8.0 ft"}
    assert set(rows["energy ratio, by ram weight × stroke"]) == {"53 %"}


def test_two_test_piles_stand_side_by_side(structure):
    rows = pair_rows(structure, ("P2-4", "A4-3"))
    told = rows.set_index("")
    assert list(told.columns) == ["P2-4", "A4-3"]
    assert told.loc["record", "P2-4"] == "can be trusted"  # as the report and the page Two piles call it
    assert result_rows(structure)["record"].tolist()[0] == "can be trusted"
    assert told.loc["resistance, initial", "P2-4"] == "265 kip (252 to 276 kip)"
    assert told.loc["alerts", "P2-4"] == "–" and told.loc["alerts", "A4-3"] != "–"
    counts = pair_counts(structure, ("P2-4", "A4-3")).set_index("stroke")
    assert counts.loc["8.0 ft"].tolist() == ["16", "–"] and counts.loc["2.0 ft"].tolist() == [
        "–",
        "36",
    ]  # 29 over 0.8


def test_a_lower_bound_is_called_so_on_the_board(structure):
    record = structure.records[0]
    weak = replace(record.result.drives[0], lower_bound=True)
    setups = tuple(replace(one, lower_bound=True) for one in record.result.setups)
    result = replace(record.result, drives=(weak,), setups=setups)
    told = replace(structure, records=(replace(record, result=result), *structure.records[1:]))
    shown = result_rows(told).set_index("pile")
    assert shown.loc["P2-4", "last resistance"] == "265 kip (252 to 276 kip), LOWER BOUND"
    assert "LOWER BOUND" in shown.loc["P2-4", "setup"] and "LOWER BOUND" not in shown.loc["P3-1", "setup"]
    assert "LOWER BOUND" in pair_rows(told, ("P2-4", "P3-1")).set_index("").loc["resistance, initial", "P2-4"]


def test_resistance_and_soil_share_their_depths(structure):
    lines = resistance_lines(structure.results, "US")
    depth = lines.columns[1]
    assert lines[lines["pile"] == "P2-4"][depth].iloc[[0, -1]].tolist() == pytest.approx([20.0, 60.0])
    layers = soil_profiles(structure.results, "US")
    own = layers[layers["pile"] == "P2-4"]
    np.testing.assert_allclose(own[["top", "bottom"]], [[0.0, 12.0], [12.0, 70.0]])
    assert own["soil"].tolist() == ["silt", "clay"]


def test_files_tell_every_pile_and_group(structure):
    files = structure_files(structure)
    content = json.loads(files["structure.json"])
    assert [group["name"] for group in content["groups"]] == [group.group.name for group in structure.groups]
    assert len(content["groups"][0]["piles"]) == 24
    assert {run["kind"]: run["piles"] for run in content["hammers"]} == {
        "open-end diesel": ["P2-4", "P3-1"],
        "hydraulic": ["A1-2", "A4-3"],
    }
    assert files["bearing_piles.csv"].decode().splitlines()[0].startswith("group,pile,verdict,status,penetration [m]")
    assert len(pd.read_parquet(io.BytesIO(files["test_piles.parquet"]))) == 4
    assert files["structure.pdf"].startswith(b"%PDF")
    assert "plan.geojson" not in files
    placed = replace(structure, sheet=replace(structure.sheet, reference_system="EPSG:26917"))
    drawn = json.loads(structure_files(placed)["plan.geojson"])
    assert len(drawn["features"]) == 32 and drawn["crs"]["properties"]["name"] == "EPSG:26917"
    totals = [group.check.piles["pay_length"].sum() / 0.3048 for group in structure.groups[:2]]
    assert pay_rows(structure)["pay length"].tolist() == [f"{total:,.1f} ft" for total in totals]


def test_the_terminal_tells_a_group_without_a_criterion(structure):
    group = replace(structure.groups[0], criterion=None, problem=None)
    lines = structure_lines(replace(structure, groups=(group, *structure.groups[1:])))
    assert lines[0].startswith(f"{group.group.name}: No criterion")
    assert len(lines) < len(structure_lines(structure))


def test_the_terminal_tells_every_group_and_what_is_to_do(structure):
    lines = structure_lines(structure)
    for group in structure.groups:
        assert any(line.startswith(f"{group.group.name}: ") for line in lines)
    assert all(words in " ".join(line.strip() for line in lines) for words in to_do(structure))
    assert max(map(len, lines)) <= 100


def test_a_stress_along_the_pile_counts_and_not_that_at_the_gauges_alone(structure):
    record = structure.records[0]
    row = dict(record.row) | {"compression_stress": 4.1e8, "tension_stress": 2.0e8, "tension_stress_limit": 3.1e8}
    records = (replace(record, row=row), *structure.records[1:])
    shown = hammer_rows(replace(structure, records=records)).set_index("pile").loc[record.result.pile]
    assert shown["maximum compression (limit)"] == "59.5 ksi (45.0 ksi), above the limit"
    assert shown["maximum tension (limit)"] == "29.0 ksi (45.0 ksi)"


def test_a_structure_without_stress_limits_is_drawn(structure):
    bare = [replace(one, row=dict(one.row) | {"compression_stress_limit": None}) for one in structure.records]
    assert "hammer" in board_figures(replace(structure, records=tuple(bare)))


def test_a_pile_without_counts_has_one_verdict_everywhere(structure):
    group = structure.groups[0]
    told = odd_rows(group, "US").set_index("pile")["verdict"]
    assert told["P2-24"] == "no counts"
    places = plan(structure).set_index("pile")["verdict"]
    own = told.index.difference(group.tests)
    assert told[own].to_dict() == places[own].to_dict()


def test_what_forbids_the_counts_is_told_of_a_test_pile_without_a_criterion_too(structure):
    record = structure.records[0]
    held = replace(
        record.result.criterion, criterion=None, problem=Caution("no hammer", facts={"needed": ("ram_weight",)})
    )
    result = replace(record.result, criterion=held, alerts=(Caution("damage", 0.55, facts={"depth": 9.0}),))
    records = (replace(record, result=result), *structure.records[1:])
    changed = replace(structure, records=records)
    shown = result_rows(changed).set_index("pile").loc[result.pile, "alerts"]
    assert "the sheet has no [hammer]" in shown and "the test pile may be damaged" in shown
    both = [result.pile, structure.records[1].result.pile]
    assert pair_rows(changed, tuple(both)).set_index("").loc["alerts", result.pile] == shown


@pytest.mark.parametrize(("system", "ram"), [("SI", "ram 17.8 kN"), ("US", "ram 4.00 kip")])
def test_a_ram_has_one_unit_wherever_it_is_named(structure, system, ram):
    """1,814 kg, as the results of the test piles have it; card, report and pages give its weight too."""
    assert {words.partition(", ")[2] for words in hammer_rows(replace(structure, display_units=system))["hammer"]} == {
        ram
    }
    hammer = Hammer("hydraulic", 1814.0)
    paper = criterion_card(structure.groups[0].criterion, "Bridge", system, None, hammer)
    assert ram in dict(map(tuple, paper["site"]))["hammer"]
    told = {what: value for what, value, _ in hammer_facts(hammer, system)}
    assert f"ram {told['ram weight']}" == ram
