"""Matching beside the page: it says how far it is, it can be stopped, and what was done stays."""

import threading

import pytest
from dyntest_dashboard.shelf import Job, Shelf


def test_a_job_tells_how_far_it_is_and_stops_when_asked():
    begun, gone_on = threading.Event(), threading.Event()

    def work(tell, keep_going):
        tell("first half", 0.5)
        begun.set()
        gone_on.wait(300)
        if keep_going():
            tell("second half", 1.0)

    job = Job(work, "work")
    assert begun.wait(300)
    assert (job.words, job.share) == ("first half", 0.5)
    job.asked_to_stop.set()
    gone_on.set()
    job.join(300)
    assert (job.words, job.share, job.problem) == ("first half", 0.5, "")


def test_a_job_keeps_its_problem_for_the_page():
    def work(tell, keep_going):
        raise ValueError("the record ends too early")

    job = Job(work, "work")
    job.join(300)
    assert job.problem == "the record ends too early"


def test_the_shelf_keeps_what_was_used_last():
    shelf = Shelf()
    for number in range(300):
        shelf.put((number,), {"number": number})
        shelf.get((0,))
    assert shelf.get((0,)) == {"number": 0} and shelf.get((1,)) is None and shelf.get((299,)) is not None


@pytest.fixture
def matched_small(small_test, open_page):
    """A short test whose drives were matched by a click."""
    shown = open_page("resistance", small_test)
    shown.button(key="resistance_match").click().run()
    shown.session_state["job"].join(300)
    return shown.run(), small_test


def test_a_match_shows_with_its_range_and_survives_another_damping_factor(matched_small, text_of):
    shown, _ = matched_small
    assert not shown.exception and "from signal matching" in text_of(shown)
    shown.slider(key="resistance_factor").set_value(0.31).run()
    restrike = [line for line in text_of(shown).splitlines() if "Restrike:" in line]
    assert not shown.exception and "from signal matching" in restrike[0]


@pytest.mark.sweep
def test_every_blow_is_matched_and_drawn_with_its_range(matched_small, text_of):
    shown, _ = matched_small
    shown.button(key="resistance_match_every").click().run()
    job = shown.session_state["job"]
    job.join(300)
    assert job.problem == ""
    shown.run()
    assert not shown.exception
    options = shown.selectbox(key="resistance_profile").options
    assert any("signal matching" in option for option in options)
    shown.selectbox(key="resistance_profile").set_value("matched_resistance").run()
    assert not shown.exception
