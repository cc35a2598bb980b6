from dataclasses import replace

import numpy as np
import pytest

from dyntest.conditioning.condition import Options, condition
from dyntest.conditioning.judging import find
from dyntest.hammer import Hammer
from dyntest.names import NAMES
from dyntest.pile import Pile, PilePart
from dyntest.quantities.case_resistance import case_resistance
from dyntest.quantities.table import drive_table
from dyntest.reading.logs import DrivingLog
from dyntest.signals import AveragedTraces, Signals

STEP, BLOWS = 5e-5, 23


def blow_table(*records, **choices):
    return drive_table(*records, **choices).table


@pytest.fixture(scope="module")
def pile():
    return Pile("invented", "steel", (PilePart(20.0, 0.0138, 206.84e9, 7850.0),))


@pytest.fixture(scope="module")
def signals(stepped_waves, pile):
    """A drive whose blows grow, made with the tests' own wave calculation; one blow every 1.4 s."""
    segments = round(0.5 * pile.return_time / STEP)
    time = np.arange(1500) * STEP - 6e-3
    rise = np.sin(np.pi / 2 * np.clip(time / 1.5e-3, 0, 1)) ** 2
    pulse = 2.4e6 * rise * np.exp(-np.maximum(time - 1.5e-3, 0) / 3e-3)
    impedance = np.full(segments, pile.impedance)
    nodes = np.full(segments + 1, 6e5 / segments)
    strain, acceleration = [], []
    for size in np.linspace(0.8, 1.2, BLOWS):
        down, up = stepped_waves(size * pulse, impedance, nodes, 0.002 * pile.impedance + 0 * nodes, (4e5, 1e5))
        force, velocity = down + up, (down - up) / pile.impedance
        mean = force / (pile.modulus * pile.area)
        strain.append(np.stack([1.1 * mean, 0.9 * mean]))
        slope = np.gradient(velocity, STEP)
        acceleration.append(np.stack([slope, slope]))
    blow = np.arange(1, BLOWS + 1)
    return Signals("drive.csv", blow, time, np.stack(strain), np.stack(acceleration), clock=1.4 * blow)


def log_of(blows, source="log.csv"):
    depth = np.linspace(8.0, 10.0, len(blows) + 1)
    return DrivingLog(source, depth[:-1], depth[1:], np.array(blows), np.full(len(blows), 2.4), ("",) * len(blows))


def test_columns_are_names_in_their_order(signals, pile):
    table = blow_table(signals, pile, damping_factor=0.4)
    assert list(table.columns) == [code for code in NAMES if code in table.columns]
    assert len(table) == BLOWS
    assert table["blow"].tolist() == signals.blow.tolist()


@pytest.mark.parametrize("chunk", [1, 7, 1000])
def test_chunks_change_nothing(signals, pile, chunk):
    log = log_of([10, 13])
    whole = drive_table(signals, pile, damping_factor=0.4, log=log)
    sliced = drive_table(signals, pile, damping_factor=0.4, log=log, chunk=chunk)
    for code in whole.table:
        np.testing.assert_allclose(sliced.table[code], whole.table[code], rtol=1e-9, atol=1e-12, err_msg=code)
    assert [(f.check, f.blows, f.gauge) for f in sliced.findings] == [
        (f.check, f.blows, f.gauge) for f in whole.findings
    ]


def test_a_row_is_what_the_functions_give(signals, pile):
    waves = condition(signals, pile).waves
    expected = case_resistance(waves.down, waves.up, waves.first_peak, pile.return_time, STEP, 0.4)
    assert np.allclose(blow_table(signals, pile, damping_factor=0.4)["case_resistance"], expected)


def test_findings_on_the_record_are_those_of_conditioning(signals, pile):
    strain = signals.strain.copy()
    strain[4, 1] = 0.0
    broken = replace(signals, strain=strain)
    expected = find(broken, condition(broken, pile), pile)
    found = drive_table(broken, pile, damping_factor=0.4).findings
    assert any(f.severity == "reject" and 5 in f.blows for f in found)
    assert set(expected) <= set(found)


def test_raw_records_are_not_touched(signals, pile):
    before = signals.strain.copy()
    drive_table(signals, pile, damping_factor=0.4, log=log_of([BLOWS]))
    assert np.array_equal(signals.strain, before)


def test_damping_factor_of_the_engineer(signals, pile):
    found = drive_table(signals, pile, damping_factor=0.55, toe_soil="sand")
    assert found.damping_source == "engineer"
    assert (found.table["damping_factor"] == 0.55).all()
    assert not [f for f in found.findings if f.check == "damping factor"]


def test_damping_factor_suggested_by_the_soil_is_said(signals, pile):
    found = drive_table(signals, pile, toe_soil="silt")
    assert found.damping_source == "soil at the toe"
    assert found.table["damping_factor"].unique() == pytest.approx([0.325])
    (note,) = [f for f in found.findings if f.check == "damping factor"]
    assert "from memory" in note.more["source"]
    assert (note.threshold, note.more["upper"]) == (pytest.approx(0.25), "to 0.40")
    assert found.table["damping_factor_maximum"].unique() == pytest.approx([0.525])


def test_suggested_damping_factor_is_raised_for_the_largest_over_time(signals, pile):
    found, alike = (
        drive_table(signals, pile, **choice).table for choice in ({"toe_soil": "silt"}, {"damping_factor": 0.325})
    )
    raised = drive_table(signals, pile, damping_factor=0.525).table
    assert np.array_equal(found["case_resistance"], alike["case_resistance"])
    assert np.array_equal(found["case_resistance_maximum"], raised["case_resistance_maximum"])
    assert (alike["damping_factor_maximum"] == 0.325).all()  # the engineer's own is taken as it is


def test_no_damping_factor_leaves_out_only_what_needs_it(signals, pile):
    found = drive_table(signals, pile, toe_soil="rock")
    assert found.damping_source == "none"
    for code in ("case_resistance", "case_resistance_maximum", "case_resistance_unloading", "damping_factor"):
        assert found.table[code].isna().all()
    for code in ("total_resistance", "case_resistance_toe_at_rest", "transferred_energy"):
        assert found.table[code].notna().all()


def test_open_end_diesel_has_the_stroke_of_its_rate(signals, pile):
    hammer = Hammer("open-end diesel", 3000.0, rated_energy=80e3)
    table = blow_table(signals, pile, hammer, damping_factor=0.4)
    assert np.isnan(table["stroke"][0])
    stroke = 9.80665 * 1.4**2 / 8 - 0.09144
    assert table["stroke"][1:].to_numpy() == pytest.approx(stroke)
    assert np.allclose(table["energy_ratio"], table["transferred_energy"] / 80e3)
    expected = table["transferred_energy"][1:] / (3000.0 * 9.80665 * stroke)
    assert np.allclose(table["energy_ratio_stroke"][1:], expected)


def test_other_hammers_have_the_stroke_of_the_log(signals, pile):
    hammer = Hammer("hydraulic", 3000.0)
    table = blow_table(signals, pile, hammer, damping_factor=0.4, log=log_of([BLOWS]))
    assert (table["stroke"] == 2.4).all()
    assert table["energy_ratio_stroke"].notna().all()
    assert table["energy_ratio"].equals(table["energy_ratio_stroke"])  # no rated energy


def test_stroke_that_differs_from_the_log_is_said(signals, pile):
    hammer = Hammer("open-end diesel", 3000.0)
    slow = replace(signals, clock=1.25 * signals.clock)
    found = drive_table(slow, pile, hammer, damping_factor=0.4, log=log_of([BLOWS]))
    assert [f for f in found.findings if f.check == "stroke"]


def test_set_and_penetration_of_the_log_go_by_blow_number(signals, pile):
    table = blow_table(signals, pile, damping_factor=0.4, log=log_of([10, 13]))
    assert table["set_per_blow"][:10].to_numpy() == pytest.approx(0.1)
    assert table["set_per_blow"][10:].to_numpy() == pytest.approx(1 / 13)
    assert table["penetration"].iloc[0] == pytest.approx(8.1)
    assert table["penetration"].iloc[-1] == pytest.approx(10.0)


def test_set_of_the_log_is_used_for_the_drift(signals, pile):
    table = blow_table(signals, pile, damping_factor=0.4, log=log_of([100, 100]), first_blow=21)
    free = blow_table(signals, pile, damping_factor=0.4)["final_displacement"]
    near = (free - 0.01).abs() < 0.001
    assert near.any()
    assert table["final_displacement"][near].to_numpy() == pytest.approx(0.01)


def test_the_engineers_set_goes_before_the_logs(signals, pile):
    own = blow_table(signals, pile, damping_factor=0.4)["final_displacement"].to_numpy() + 0.0005
    options = Options(set_per_blow=own)
    table = blow_table(signals, pile, damping_factor=0.4, log=log_of([100, 100]), options=options)
    assert table["set_per_blow"].to_numpy() == pytest.approx(own)
    assert table["final_displacement"].to_numpy() == pytest.approx(own)


@pytest.mark.parametrize(
    ("counts", "outside", "severity"), [([10, 10], (21, 22, 23), "warning"), ([10, 30], (), "note")]
)
def test_a_log_that_disagrees_is_reported(signals, pile, counts, outside, severity):
    found = drive_table(signals, pile, damping_factor=0.4, log=log_of(counts))
    (finding,) = [f for f in found.findings if f.check == "log count"]
    assert finding.blows == outside
    assert finding.severity == severity
    assert found.table["penetration"].isna().sum() == len(outside)


def test_a_log_that_agrees_is_not(signals, pile):
    found = drive_table(signals, pile, damping_factor=0.4, log=log_of([10, 13]))
    assert not [f for f in found.findings if f.check.startswith("log")]


def test_records_with_depth_keep_it_and_a_difference_is_reported(signals, pile):
    deep = replace(signals, penetration=np.full(BLOWS, 9.0))
    found = drive_table(deep, pile, damping_factor=0.4, log=log_of([10, 13]))
    assert (found.table["penetration"] == 9.0).all()
    (finding,) = [f for f in found.findings if f.check == "log depth"]
    assert 1 in finding.blows
    assert 12 not in finding.blows


def test_penetration_at_start_stands_where_nothing_else_does(signals, pile):
    assert (blow_table(signals, pile, damping_factor=0.4, penetration_at_start=12.0)["penetration"] == 12.0).all()


def test_pile_of_several_sections_is_noted(signals):
    parts = (PilePart(12.0, 0.0138, 206.84e9, 7850.0), PilePart(8.0, 0.01, 206.84e9, 7850.0))
    found = drive_table(signals, Pile("invented", "steel", parts), damping_factor=0.4)
    (note,) = [f for f in found.findings if f.check == "uniform pile"]
    assert note.severity == "note"
    assert note.value == 2.0


def test_damage_is_a_warning_with_its_depth(stepped_waves, signals, pile):
    segments = round(0.5 * pile.return_time / STEP)
    down = condition(signals, pile).waves.down[0]
    impedance = np.full(segments, pile.impedance)
    impedance[segments // 2 :] *= 0.5
    _, up = stepped_waves(down, impedance, np.zeros(segments + 1), np.zeros(segments + 1), (4e5, 0.0))
    force, velocity = np.tile(down + up, (3, 1)), np.tile((down - up) / pile.impedance, (3, 1))
    traces = AveragedTraces("averaged.csv", np.array([1, 2, 3]), signals.time, force, velocity)
    found = drive_table(traces, pile, damping_factor=0.4)
    (finding,) = [f for f in found.findings if f.check == "integrity"]
    assert finding.blows == (1, 2, 3)
    assert finding.value == pytest.approx(0.5, abs=0.05)
    assert finding.more["depth"] == pytest.approx(10.0, abs=1.0)
    assert found.table["peak_gauge_stress"].isna().all()  # averaged traces have no single gauge


@pytest.mark.parametrize("size", [0.0, -1.0])
def test_dead_and_swapped_blows(signals, pile, size):
    poor = replace(signals, strain=size * signals.strain, acceleration=size * signals.acceleration)
    table = blow_table(poor, pile, Hammer("drop", 3000.0), damping_factor=0.4)
    assert len(table) == BLOWS
    if size == 0.0:
        assert table["integrity_factor"].isna().all()
        assert table["proportionality"].isna().all()


@pytest.mark.parametrize("samples", [160, 250, 300, 500])
def test_records_that_end_early(signals, pile, samples):
    short = replace(
        signals,
        time=signals.time[:samples],
        strain=signals.strain[..., :samples],
        acceleration=signals.acceleration[..., :samples],
    )
    table = blow_table(short, pile, damping_factor=0.4)
    assert table["peak_force"].notna().all()
    if samples < 300:  # the return comes 7.8 ms after a peak at 7.5 ms
        assert table["case_resistance"].isna().all()


def test_noise_alone(signals, pile):
    rng = np.random.default_rng(4)
    noise = rng.normal(size=signals.strain.shape)
    blow_table(replace(signals, strain=1e-6 * noise, acceleration=noise), pile, damping_factor=0.4)


def test_one_gauge_left_out(signals, pile):
    table = blow_table(replace(signals, left_out=frozenset({"strain_2"})), pile, damping_factor=0.4)
    assert table["bending_ratio"].isna().all()
    assert np.allclose(table["peak_gauge_stress"], table["peak_compression_stress"])
