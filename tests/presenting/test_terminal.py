"""The lines of the terminal: the answer first, in display units."""

import re
from dataclasses import replace

from dyntest.decisions.trust import Trust
from dyntest.presenting.terminal import lines
from dyntest.reviewing.review import review


def test_the_terminal_answers_first_and_every_number_has_the_display_unit(reviewed):
    told = lines(reviewed)
    assert told[0].startswith("P3-1: the record can")
    assert any("kip" in line for line in told)
    assert not any(unit in line for line in told for unit in (" kN", " MPa", " kJ"))
    assert max(len(line) for line in told) <= 100


def test_the_terminal_is_short_and_verbose_has_the_rest(small_review_matched):
    short, everything = lines(small_review_matched), lines(small_review_matched, verbose=True)
    assert len(short) <= 24  # and one line for the files
    assert len(everything) > 2 * len(short)
    assert any(line.strip().startswith("blows in") for line in short)
    assert any(line.startswith("Assumed:") for line in short)
    for sentence in re.split(r"(?<=[.:;?!]) ", " ".join(short[:12])):
        assert len(sentence.split()) <= 30, sentence


def test_stress_above_its_limit_is_said_loudly(reviewed):
    low = replace(reviewed.limits, compression=replace(reviewed.limits.compression, value=1e6))
    assert any("ABOVE THE LIMIT" in line for line in lines(replace(reviewed, limits=low)))
    assert not any("ABOVE" in line for line in lines(reviewed))


def test_a_lower_bound_is_called_one(reviewed):
    drive = reviewed.drives[0]
    little = replace(drive, representative=replace(drive.representative, lower_bound=True))
    assert any("LOWER BOUND" in line for line in lines(replace(reviewed, drives=(little,))))
    assert not any("LOWER BOUND" in line for line in lines(replace(reviewed, drives=(drive,))))


def test_a_drive_without_a_sound_blow_is_said_first(reviewed):
    bare = replace(reviewed.drives[0], representative=None, waves=None, trust=Trust("no", ("no sound blow",)))
    assert "cannot be trusted" in lines(replace(reviewed, drives=(bare,)))[0]


def test_a_damping_factor_that_nobody_gave_is_said_to_be_missing(small_test):
    text = small_test.read_text().replace("damping_factor = 0.3\n", "").replace('toe = "rock"\n', "")
    small_test.write_text(text)
    assert any("no damping factor is known" in line for line in lines(review(small_test, match="none")))
