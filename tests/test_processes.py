"""Work in further processes: what it gives, and what becomes of it where they break down."""

import os
import signal
from concurrent.futures import BrokenExecutor, Executor, Future, ThreadPoolExecutor

import pytest

from dyntest.processes import THREAD_VARIABLES, Errand, cores, process_pool, side_by_side


def test_processes_are_spawned_with_one_thread_and_the_environment_is_given_back():
    before = {name: os.environ.get(name) for name in THREAD_VARIABLES}
    with process_pool(1) as pool:
        assert pool.submit(os.getpid).result() != os.getpid()
        assert [pool.submit(os.getenv, name).result() for name in THREAD_VARIABLES] == ["1"] * len(THREAD_VARIABLES)
    assert {name: os.environ.get(name) for name in THREAD_VARIABLES} == before


@pytest.mark.skipif(not hasattr(signal, "pthread_sigmask"), reason="this system cannot hold an interrupt back")
def test_an_interrupt_is_left_to_the_parent():
    before = signal.pthread_sigmask(signal.SIG_BLOCK, ())
    with process_pool(1) as pool:
        assert pool.submit(signal.getsignal, signal.SIGINT).result() == signal.SIG_IGN
    assert signal.pthread_sigmask(signal.SIG_BLOCK, ()) == before


class Waiting(Executor):
    """Takes work and never begins it."""

    def submit(self, function, *arguments):
        return Future()


def test_an_errand_is_run_in_the_other_process_and_what_it_raises_comes_back():
    with process_pool(1) as pool:  # a new process can load only what is installed: no function of a test
        assert Errand(pool, os.getpid).result() != os.getpid()
        assert Errand(pool, divmod, 7, 2).result() == (3, 1)
        wrong = Errand(pool, divmod, 7, 0)
        with pytest.raises(ZeroDivisionError):
            wrong.result()


def test_an_errand_is_run_here_where_nobody_has_begun_it_or_nobody_can():
    assert Errand(None, os.getpid).result() == os.getpid()
    assert Errand(Waiting(), os.getpid).result() == os.getpid()


def test_an_errand_is_run_here_where_the_other_process_died():
    with process_pool(1) as pool:
        pool.submit(os._exit, 1).exception()
        after = Errand(pool, os.getpid)
        assert after.result() == os.getpid()
    lost = Errand(Waiting(), os.getpid)
    lost.future.set_running_or_notify_cancel()
    lost.future.set_exception(BrokenExecutor("killed"))
    assert lost.result() == os.getpid()


def test_what_is_done_side_by_side_comes_in_its_order():
    calls = [(number,) for number in range(5)]
    with ThreadPoolExecutor(2) as threads:
        assert list(side_by_side(threads, hex, calls)) == [hex(number) for number in range(5)]
    assert list(side_by_side(None, hex, calls)) == [hex(number) for number in range(5)]
    assert list(side_by_side(None, hex, [])) == []


def test_there_is_a_core_to_work_on():
    assert 1 <= cores() <= (os.cpu_count() or 1)
