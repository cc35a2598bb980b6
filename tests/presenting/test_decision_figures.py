"""What the figures of matching, waiting and criterion show, looked up in the frames they are drawn from."""

from dataclasses import replace

import numpy as np
import pytest

from dyntest.presenting.frames import TIME
from dyntest.presenting.frames_decisions import ASKED, GRAPH, RULED_OUT, criterion_lines, measured_counts
from dyntest.presenting.frames_match import GAUGE_LEVEL, load_movements, of_drives, shaft_lengths
from dyntest.presenting.frames_record import overlay

KIP = 4448.2216152605


def test_waves_of_several_drives_begin_together(matched_review):
    down = overlay({drive.name: (drive.waves, 0) for drive in matched_review.drives}, "downward wave", "US")
    for drive in matched_review.drives:
        line = down[down["trace"] == drive.name]
        assert line["force [kip]"].max() == pytest.approx(drive.waves.down.max() / KIP)
        before = line[line[TIME] < -0.5]["force [kip]"].abs().max()
        assert before < 0.05 * line["force [kip]"].max()


def test_shaft_figure_holds_the_whole_shaft_resistance(matched_review):
    drives = matched_review.drives
    frame = of_drives(shaft_lengths, drives, "US")
    part, top, bottom, _, value, _ = frame.columns
    for drive in drives:
        line = frame[(frame["drive"] == drive.name) & (frame[part] == "shaft")]
        total = (line[value] * (line[bottom] - line[top])).sum()
        limit = drive.match.parameters["shaft"].sum() / KIP
        assert total == pytest.approx(limit, rel=1e-6)
        assert line[bottom].max() == pytest.approx(matched_review.sheet.pile.length / 0.3048)


def test_load_movement_ends_at_the_limit_of_the_soil(matched_review):
    frame = of_drives(load_movements, matched_review.drives, "SI")
    for drive in matched_review.drives:
        if drive.match.law == "elastic-plastic":
            head = frame[(frame["drive"] == drive.name) & (frame["place"] == GAUGE_LEVEL)]
            assert head["load [kN]"].max() == pytest.approx(drive.match.limit / 1e3, rel=0.02)


def test_criterion_chart_asks_for_whole_counts_over_the_holding_length(matched_review):
    found = matched_review.answers.criterion
    frame = criterion_lines(found, "US")
    stroke, count = frame.columns[:2]
    asked, graph, ruled_out = (
        frame[frame["line"] == line].set_index(stroke)[count] for line in (ASKED, GRAPH, RULED_OUT)
    )
    assert len(asked) == len([row for row in found.rows if row.ruled_out is None]) > 0
    assert list(ruled_out.index * 0.3048) == pytest.approx(
        [row.stroke for row in found.rows if row.ruled_out is not None]
    )
    assert len(graph) == len(found.rows) == len(asked) + len(ruled_out)
    inches = found.holding_length / 0.0254
    assert asked.to_numpy() * inches == pytest.approx([row.count for row in found.rows if row.ruled_out is None])
    assert (abs(asked - graph.loc[asked.index]) * inches <= 0.5 + 1e-9).all()


def test_a_blow_that_did_not_move_the_pile_has_no_count(matched_review):
    found = matched_review.answers.criterion
    blows = replace(found.measured, stroke=np.array([2.0, 2.0, np.nan]), set_per_blow=np.array([0.005, 0.0, 0.005]))
    counts = measured_counts(replace(found, measured=blows), "SI")
    assert counts.to_numpy().tolist() == [[2.0, pytest.approx(5.0)]]
