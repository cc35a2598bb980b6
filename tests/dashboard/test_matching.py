"""Matching beside the page: it says how far it is, it can be stopped, and what was done stays."""

import threading
import time

import pytest
from dyntest_dashboard.shelf import Job, Jobs, Shelf


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


@pytest.mark.sweep
def test_a_match_shows_with_its_range_and_so_do_any_blow_and_every_blow(
    lay_out_small_test, tmp_path, open_page, text_of, jobs_done
):
    """A short test whose drives are matched by a click, then one other blow, then every blow."""
    shown = open_page("resistance", lay_out_small_test(tmp_path, initial=2, restrike=1))
    shown.button(key="resistance_match").click().run()
    jobs_done()
    shown.run()
    assert not shown.exception and "from signal matching" in text_of(shown)
    shown.slider(key="resistance_factor").set_value(0.31).run()
    restrike = [line for line in text_of(shown).splitlines() if "Restrike:" in line]
    assert not shown.exception and "from signal matching" in restrike[0]
    blow = int(shown.number_input(key="strip_blow").min)
    shown.number_input(key="strip_blow").set_value(blow).run()
    shown.button(key="resistance_match_this").click().run()
    jobs_done()
    shown.run()
    assert not shown.exception and f"The match of blow {blow}" in text_of(shown)
    shown.slider(key="resistance_factor").set_value(0.4).run()
    assert f"The match of blow {blow}" in text_of(shown)
    shown.button(key="resistance_match_every").click().run()
    jobs_done()
    shown.run()
    assert not shown.exception
    options = shown.selectbox(key="resistance_profile").options
    assert any("signal matching" in option for option in options)
    shown.selectbox(key="resistance_profile").set_value("matched_resistance").run()
    assert not shown.exception


def test_the_same_work_is_never_run_twice_and_other_sessions_see_it():
    held, jobs = threading.Event(), Jobs()

    def work(tell, keep_going):
        held.wait(30)

    one = jobs.begin(("a",), work, "one", "test")
    assert jobs.begin(("a",), work, "again", "test") is one and jobs.of("test") == [one] and jobs.of("other") == []
    held.set()
    one.join(30)
    assert jobs.begin(("a",), work, "later", "test") is not one


def test_a_match_in_another_process_stops_when_asked(small_test, monkeypatch):
    """The process would take a minute; it is gone before the stop is over."""
    from multiprocessing import active_children, connection

    from dyntest_dashboard import shelf

    before, begun = set(active_children()), threading.Event()

    def work(tell, keep_going):
        with shelf.process_pool(1) as pool:
            future = pool.submit(time.sleep, 600.0)
            begun.set()
            shelf.wait_or_stop(future, keep_going)

    job = Job(work, "work")
    assert begun.wait(60)
    job.asked_to_stop.set()
    job.join(60)
    assert not job.is_alive() and job.problem == ""
    # Its sentinel tells of the end alone: `is_alive` errs for a moment where the pool waits for the process too.
    for process in set(active_children()) - before:
        assert connection.wait([process.sentinel], 60)
