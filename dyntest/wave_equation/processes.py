"""A pool of processes for long work: started afresh, one thread of linear algebra each, gone when their parent is."""

import os
import signal
import threading
from collections.abc import Iterator
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import contextmanager
from multiprocessing import active_children, connection, get_context, parent_process

THREAD_VARIABLES = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS")
"""What libraries of linear algebra read their number of threads from when they are loaded."""


@contextmanager
def process_pool(workers: int | None = None) -> Iterator[Executor]:
    """Give a pool of processes, and end it however the work ends."""
    before = {name: os.environ.get(name) for name in THREAD_VARIABLES}
    others = set(active_children())
    os.environ.update(dict.fromkeys(THREAD_VARIABLES, "1"))  # read when a library loads, so before a process starts
    pool = ProcessPoolExecutor(workers, mp_context=get_context("spawn"), initializer=_begin)
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


def _begin() -> None:
    """Prepare a process of the pool."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_leave_with_parent, daemon=True).start()


def _leave_with_parent() -> None:
    """End this process when its parent is gone without having said so, which a pool's queues do not notice."""
    parent = parent_process()
    if parent is not None:
        connection.wait([parent.sentinel])
        os._exit(1)
