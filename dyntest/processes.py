"""Work in further processes, which are started afresh, with one thread of linear algebra each.

They are gone when their parent is, however it ends, and leave an interrupt from the keyboard to it.
"""

import _thread
import atexit
import gc
import os
import signal
import sys
import threading
from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import BrokenExecutor, Executor, Future, ProcessPoolExecutor
from contextlib import contextmanager, suppress
from importlib import import_module
from multiprocessing import active_children, connection, get_context, parent_process
from types import CodeType, FrameType
from typing import Any, NoReturn

THREAD_VARIABLES = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS")
"""What libraries of linear algebra read their number of threads from when they are loaded."""

COLLECTIONS = 100_000, 50, 50
"""How seldom a command looks for garbage in circles, `gc.set_threshold`: it lives for seconds, and a tenth of a review
went into looking."""

MOST_PROCESSES = 61
"""Processes of a pool at most [1]; Windows can wait for no more (documentation of Python)."""

LOST_INTERRUPT = 0.02
"""Time after which an interrupt that came at a bad moment is raised again [s]."""

MOST_HELD_BACK = 500
"""Times that an interrupt is held back while modules are loaded [1]: ten seconds in all, unless loading hangs."""

ENDING = 10.0
"""Longest wait for a pool whose processes were told to end [s]."""


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
        # Its thread is waited for: a process that left before it would be told of semaphores it has not given back.
        ending = threading.Thread(target=pool.shutdown, kwargs={"cancel_futures": True}, daemon=True)
        ending.start()
        for process in set(active_children()) - others:
            process.terminate()
        ending.join(ENDING)
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
    atexit.register(os._exit, 0)  # as `leave`; a process of a pool has cleaned up before this is called


def _leave_with_parent() -> None:
    """End this process when its parent is gone without having said so, which a pool's queues do not notice."""
    parent = parent_process()
    if parent is not None:
        connection.wait([parent.sentinel])
        os._exit(1)


def leave(status: int = 0) -> NoReturn:
    """End this process, all of whose work is done, without taking its modules apart, which takes 0.1 to 0.2 s."""
    atexit._run_exitfuncs()
    for stream in (sys.stdout, sys.stderr):
        with suppress(OSError, ValueError, AttributeError):  # its reader has gone, it is closed, there is none
            stream.flush()
    os._exit(status)


def prepare(*modules: str) -> None:
    """Load modules, in a process that will need them."""
    for module in modules:
        import_module(module)


@contextmanager
def no_interrupt_lost(command: Callable) -> Iterator[None]:
    """Raise an interrupt later that came where Python would lose it, or a compiled library could not bear it.

    The first is a finaliser or a callback, where Python only reports it; the second the loading of a module, where one
    written in C++ ends the whole process.
    """
    tell, given = sys.unraisablehook, []

    def later() -> None:
        given.append(threading.Timer(LOST_INTERRUPT, _interrupt, [threading.get_ident()]))
        given[-1].daemon = True
        given[-1].start()

    def hook(dropped: Any) -> None:
        if dropped.exc_type is not KeyboardInterrupt:
            return tell(dropped)
        later()

    def interrupted(_: int, frame: FrameType | None) -> None:
        if len(given) >= MOST_HELD_BACK or not _loading(frame, command.__code__):
            raise KeyboardInterrupt
        later()

    usual = (
        threading.current_thread() is threading.main_thread()
        and signal.getsignal(signal.SIGINT) is signal.default_int_handler
    )
    sys.unraisablehook = hook
    if usual:
        signal.signal(signal.SIGINT, interrupted)
    try:
        yield
    finally:
        if usual:
            signal.signal(signal.SIGINT, signal.default_int_handler)
        sys.unraisablehook = tell
        for again in given:
            again.cancel()  # the work has ended


def _loading(frame: FrameType | None, command: CodeType) -> bool:
    """Whether a module is being loaded here on a command's behalf."""
    while frame is not None and frame.f_code is not command:
        if frame.f_code.co_filename.startswith("<frozen importlib"):
            return True
        frame = frame.f_back
    return False


def _interrupt(thread: int) -> None:
    """Interrupt the main thread and, where the system can, what it waits for."""
    if hasattr(signal, "pthread_kill"):
        signal.pthread_kill(thread, signal.SIGINT)
    else:
        _thread.interrupt_main()


class Errand:
    """A call that is made here or by another process, whoever has time first."""

    def __init__(self, among: "Errands", function: Callable, arguments: tuple):
        self.among, self.function, self.arguments = among, function, arguments
        self.future: Future | None = None

    def result(self) -> Any:
        """Give what it came to, or raise what it raised; one that nobody has begun is run here."""
        self.among.work_until_done(self)
        assert self.future is not None
        return self.future.result()

    def run_here(self) -> None:
        """Make the call and keep what came of it."""
        self.future = Future()
        try:
            self.future.set_result(self.function(*self.arguments))
        except Exception as problem:
            self.future.set_exception(problem)


class Errands:
    """Calls that this process and those of an executor share: each takes the next that nobody has begun.

    No more is handed over than there are others to begin it, so that nothing waits behind a long call while this
    process has nothing to do; with `all_to_others` everything is, since this process is not ready for such calls. All
    are made here where there is no executor, or where it broke down.
    """

    def __init__(self, executor: Executor | None, *, all_to_others: bool = False):
        self.executor, self.others = executor, sys.maxsize if all_to_others else max(cores() - 1, 1)
        self.waiting: deque[Errand] = deque()
        self.handed_over = 0
        self.lock = threading.Lock()

    def add(self, function: Callable, *arguments: Any) -> Errand:
        """Give a call to whoever has time first."""
        errand = Errand(self, function, arguments)
        with self.lock:
            self.waiting.append(errand)
        self._hand_over()
        return errand

    def _hand_over(self) -> None:
        while True:
            with self.lock:
                if self.executor is None or self.handed_over >= self.others or not self.waiting:
                    return
                errand = self.waiting.popleft()
                self.handed_over += 1
                try:
                    errand.future = self.executor.submit(errand.function, *errand.arguments)
                except (RuntimeError, OSError):  # died, was shut down, or could not be started
                    self.executor = None
                    self.waiting.appendleft(errand)
                    return
            errand.future.add_done_callback(self._taken_back)

    def _taken_back(self, future: Future) -> None:
        """Go on with the next; not with an executor that broke or leaves, which may hold its own lock just now."""
        with self.lock:
            self.handed_over -= 1
            if future.cancelled() or isinstance(future.exception(), BrokenExecutor):
                self.executor = None
        self._hand_over()

    def work_until_done(self, wanted: Errand) -> None:
        """Make the call here if nobody has begun it, and others while it is made elsewhere."""
        while True:
            with self.lock:
                future = wanted.future
                mine = None if future is not None and future.done() else self._next(wanted)
            if mine is not None:
                mine.run_here()
                continue
            assert future is not None
            if future.cancel() or isinstance(future.exception(), BrokenExecutor):
                wanted.run_here()
            return

    def _next(self, wanted: Errand) -> Errand | None:
        """Give what this process does while it waits: the wanted call itself, or the one added last."""
        if wanted in self.waiting:
            self.waiting.remove(wanted)
            return wanted
        return self.waiting.pop() if self.waiting else None
