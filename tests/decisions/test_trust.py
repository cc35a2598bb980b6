"""The answer to whether a record can be trusted follows from its findings alone."""

from dataclasses import replace

import pytest

from dyntest.conditioning.findings import Finding
from dyntest.decisions.trust import Trust, trust


def finding(severity, blows, check="drift"):
    return Finding(check, severity, tuple(blows), 0.2, 0.1)


@pytest.mark.parametrize(
    ("findings", "answer"),
    [
        ([], "yes"),
        ([finding("note", range(1, 101))], "yes"),
        ([finding("warning", [3])], "with care"),
        ([finding("reject", [3, 4])], "yes"),  # a few bad blows are left aside
        ([finding("reject", range(1, 11))], "with care"),
        ([finding("reject", range(1, 52))], "no"),
        ([finding("reject", [99])], "no"),  # the blow that stands for the drive
        ([finding("warning", [99])], "with care"),
    ],
)
def test_answer(findings, answer):
    assert trust(findings, 100, 99).answer == answer


def test_no_sound_blow_is_no_trust():
    assert trust([finding("reject", [1], "clipped channel")], 1, None) == Trust(
        "no", ("no sound blow", "clipped channel"), (), 1, 1
    )


def test_reasons_come_worst_first_and_once():
    findings = [finding("warning", [1], "lag"), finding("reject", range(1, 21), "dead"), finding("warning", [2], "lag")]
    assert trust(findings, 100, 99).reasons == ("dead", "lag")


def test_only_what_stands_against_the_blow_is_named_where_it_is_rejected():
    findings = [finding("warning", [1], "lag"), finding("reject", [99], "dead"), finding("reject", [5], "clipped")]
    assert trust(findings, 100, 99) == Trust("no", ("dead",), (findings[1],), 2, 100)


def test_what_warns_of_the_blow_that_stands_for_the_drive_is_no_mere_note():
    few = replace(finding("note", [98, 99], "proportionality"), at_blow="warning")
    assert trust([few], 100, 99) == Trust("with care", ("proportionality",), (few,), 0, 100)
    assert trust([few], 100, 50) == Trust("yes", blows=100)


def test_a_note_at_that_blow_is_told_with_the_answer():
    note = finding("note", [99], "integrity or soil")
    assert trust([note, finding("note", [3])], 100, 99) == Trust("yes", (), (note,), 0, 100)
