"""Work in further processes: what it gives, and what becomes of it where they break down."""

import os
import signal
import sys
import threading
import time
from concurrent.futures import BrokenExecutor, Executor, Future, ThreadPoolExecutor
from importlib import import_module
from multiprocessing import active_children

import pytest

from dyntest import processes
from dyntest.processes import THREAD_VARIABLES, Errands, cores, process_pool


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


def test_a_pool_whose_work_failed_has_ended_when_its_caller_is_told():
    running = set(threading.enumerate())
    with pytest.raises(ZeroDivisionError), process_pool(1) as pool:
        begun = pool.submit(time.sleep, 60.0)
        waits = pool.submit(os.getpid)
        raise ZeroDivisionError
    assert set(threading.enumerate()) <= running
    assert begun.done() and waits.done()
    assert not active_children()


class Waiting(Executor):
    """Takes work and never begins it."""

    def submit(self, function, *arguments):
        return Future()


def test_an_errand_is_run_in_the_other_process_and_what_it_raises_comes_back():
    with process_pool(1) as pool:  # a new process can load only what is installed: no function of a test
        among = Errands(pool)
        assert among.add(os.getpid).result() != os.getpid()
        assert among.add(divmod, 7, 2).result() == (3, 1)
        wrong = among.add(divmod, 7, 0)
        with pytest.raises(ZeroDivisionError):
            wrong.result()


def test_an_errand_is_run_here_where_nobody_has_begun_it_or_nobody_can():
    assert Errands(None).add(os.getpid).result() == os.getpid()
    among = Errands(Waiting())
    errands = [among.add(os.getpid) for _ in range(3)]
    assert [errand.result() for errand in errands] == [os.getpid()] * 3
    with pytest.raises(ZeroDivisionError):
        among.add(divmod, 7, 0).result()


def test_errands_that_are_all_for_others_are_all_handed_over_at_once(monkeypatch):
    monkeypatch.setattr("dyntest.processes.cores", lambda: 2)
    others = Waiting()
    for all_to_others, handed_over in ((False, 1), (True, 3)):
        among = Errands(others, all_to_others=all_to_others)
        assert sum(among.add(os.getpid).future is not None for _ in range(3)) == handed_over


def test_an_errand_is_run_here_where_the_other_process_died():
    with process_pool(1) as pool:
        pool.submit(os._exit, 1).exception()
        among = Errands(pool)
        assert [errand.result() for errand in [among.add(os.getpid), among.add(os.getpid)]] == [os.getpid()] * 2
    lost = Errands(Waiting()).add(os.getpid)
    lost.future.set_running_or_notify_cancel()
    lost.future.set_exception(BrokenExecutor("killed"))
    assert lost.result() == os.getpid()


def test_who_waits_for_a_long_errand_does_the_others_meanwhile(monkeypatch):
    monkeypatch.setattr("dyntest.processes.cores", lambda: 2)
    begun, short_done = threading.Event(), threading.Semaphore(0)

    def long():
        begun.set()
        return [short_done.acquire(timeout=10.0) for _ in range(2)]

    def short():
        short_done.release()
        return threading.get_ident()

    with ThreadPoolExecutor(1) as other:
        among = Errands(other)
        first, *others = among.add(long), among.add(short), among.add(short)
        assert begun.wait(10.0)
        assert first.result() == [True, True]
        assert [errand.result() for errand in others] == [threading.get_ident()] * 2


def test_an_errand_is_handed_over_as_soon_as_the_other_has_time(monkeypatch):
    monkeypatch.setattr("dyntest.processes.cores", lambda: 2)
    done = threading.Semaphore(0)

    def call():
        done.release()
        return threading.get_ident()

    with ThreadPoolExecutor(1) as other:
        among = Errands(other)
        errands = [among.add(call) for _ in range(3)]
        assert [done.acquire(timeout=10.0) for _ in errands] == [True] * 3
        assert threading.get_ident() not in [errand.result() for errand in errands]


def test_there_is_a_core_to_work_on():
    assert 1 <= cores() <= (os.cpu_count() or 1)


def test_an_interrupt_is_raised_while_loading_hangs_after_it_was_held_back_so_often(monkeypatch, tmp_path):
    (tmp_path / "hangs_to_load.py").write_text(
        "import os, signal, threading\nos.kill(os.getpid(), signal.SIGINT)\nthreading.Event().wait(30.0)\n"
    )
    monkeypatch.syspath_prepend(tmp_path)
    monkeypatch.setattr(processes, "MOST_HELD_BACK", 3)
    loaded, held_back, interrupt = [], [], processes._interrupt
    monkeypatch.setattr(processes, "_interrupt", lambda thread: (held_back.append(thread), interrupt(thread)))

    def command():
        import_module("hangs_to_load")
        loaded.append(True)

    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        with pytest.raises(KeyboardInterrupt), processes.no_interrupt_lost(command):
            command()
        assert signal.getsignal(signal.SIGINT) is signal.default_int_handler
    finally:
        signal.signal(signal.SIGINT, before)
        sys.modules.pop("hangs_to_load", None)
    assert (loaded, len(held_back)) == ([], 3)
