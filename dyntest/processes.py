"""Work in further processes, which are started afresh, with one thread of linear algebra each.

They are gone when their parent is, however it ends, and leave an interrupt from the keyboard to it.
"""

import gc
import math
import os
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import BrokenExecutor, Executor, Future, ProcessPoolExecutor
from contextlib import contextmanager, suppress
from importlib import import_module
from multiprocessing import active_children, connection, get_context, parent_process
from typing import Any

THREAD_VARIABLES = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS")
"""What libraries of linear algebra read their number of threads from when they are loaded."""

COLLECTIONS = 100_000, 50, 50
"""How seldom a command looks for garbage in circles, `gc.set_threshold`: it lives for seconds, and a tenth of a review
went into looking."""

MOST_PROCESSES = 61
"""Processes of a pool at most [1]; Windows can wait for no more (documentation of Python)."""


def cores() -> int:
    """Give how many cores this process may use, as far as a pool can."""
    usable = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return min(usable, MOST_PROCESSES)


@contextmanager
def process_pool(workers: int | None = None) -> Iterator[Executor]:
    """Give a pool of processes, and end it however the work ends."""
    before = {name: os.environ.get(name) for name in THREAD_VARIABLES}
    others = set(active_children())
    os.environ.update(dict.fromkeys(THREAD_VARIABLES, "1"))  # read when a library loads, so before a process starts
    pool = _Pool(workers, mp_context=get_context("spawn"), initializer=_begin)
    try:
        yield pool
        pool.shutdown()
    except BaseException:
        pool.shutdown(wait=False, cancel_futures=True)
        for process in set(active_children()) - others:
            process.terminate()
        raise
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value


class _Pool(ProcessPoolExecutor):
    """Starts its processes with interrupts from the keyboard held back, until each has learnt to pass them over."""

    def submit(self, function: Callable, /, *arguments: Any, **named: Any) -> Future:
        if not hasattr(signal, "pthread_sigmask"):
            return super().submit(function, *arguments, **named)
        before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})  # a process inherits it
        try:
            return super().submit(function, *arguments, **named)
        finally:
            signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _begin() -> None:
    """Prepare a process of the pool."""
    gc.set_threshold(*COLLECTIONS)
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_leave_with_parent, daemon=True).start()


def _leave_with_parent() -> None:
    """End this process when its parent is gone without having said so, which a pool's queues do not notice."""
    parent = parent_process()
    if parent is not None:
        connection.wait([parent.sentinel])
        os._exit(1)


def prepare(*modules: str) -> None:
    """Load modules, in a process that will need them."""
    for module in modules:
        import_module(module)


class Errand:
    """A call that another process makes meanwhile; here, where there is none or where it broke down."""

    def __init__(self, executor: Executor | None, function: Callable, *arguments: Any):
        self.call = function, arguments
        self.future: Future | None = None
        if executor is not None:
            with suppress(BrokenExecutor, OSError):  # died, or could not be started
                self.future = executor.submit(function, *arguments)

    def result(self) -> Any:
        """Give what it came to, or raise what it raised; one that nobody has begun is run here."""
        function, arguments = self.call
        if self.future is None or self.future.cancel():
            return function(*arguments)
        try:
            return self.future.result()
        except BrokenExecutor:
            return function(*arguments)


def side_by_side(executor: Executor | None, function: Callable, calls: Sequence[tuple]) -> Iterator[Any]:
    """Give the result of each call in turn: the last ones are made here, an equal share, while others make the rest."""
    if executor is None:
        yield from (function(*call) for call in calls)
        return
    given = len(calls) - math.ceil(len(calls) / cores())
    errands = [Errand(executor, function, *call) for call in calls[:given]]
    here = [function(*call) for call in calls[given:]]
    yield from (errand.result() for errand in errands)
    yield from here
