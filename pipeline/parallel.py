"""Run CPU-bound tasks on all cores of the machine, or on a cluster."""

from __future__ import annotations

import gc
import os
import pickle
import signal
import threading
import time
import uuid
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import BrokenExecutor, Executor, Future, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from queue import SimpleQueue
from typing import Any, Generic, TypeVar

from loky import ProcessPoolExecutor

from pipeline import __version__
from pipeline.errors import HeelwardError

Task = TypeVar("Task")
Result = TypeVar("Result")
MakeWorker = Callable[[], Callable[[Task], Result]]

HELPERS_GROW = {"LOKY_MAX_MEMORY_LEAK_SIZE": "1e15"}
"""They live no longer than a command: loky need not replace one that has grown by 300 MB, which takes two seconds."""
ANSWER_S = "30s"
"""How long a cluster's scheduler may take to answer."""


@dataclass(frozen=True)
class Workers:
    """Processes elsewhere that run tasks.

    Attributes
    ----------
    executor : concurrent.futures.Executor
    count : int
        Tasks that it runs at a time.
    """

    executor: Executor
    count: int


@dataclass(frozen=True)
class _Done(Generic[Result]):
    """Result or error of a task in another process."""

    result: Result | None = None
    error: BaseException | None = None


def map_unordered(
    make_worker: MakeWorker[Task, Result],
    tasks: Iterable[Task],
    min_tasks_per_worker: int,
    workers: Workers | None = None,
    meanwhile: Callable[[], None] = lambda: None,
) -> Iterator[Result]:
    """Run independent tasks on other processes; yield their results as they finish, in no fixed order.

    Parameters
    ----------
    make_worker : callable
        Called once in each process; returns the function that runs a task. Must be picklable, like the tasks: a
        module-level function, or a partial of one.
    tasks : iterable
    min_tasks_per_worker : int
        Tasks that pay for starting one process on this machine: with fewer than twice as many, this process runs all.
    workers : Workers, optional
        Where the tasks run; default: this process, and processes of this machine where they pay.
    meanwhile : callable, optional
        Called in this process as soon as others have tasks, before it takes one.

    Yields
    ------
    object
        What the function returns. What it raises is raised here, and tasks that have not started are dropped.

    Notes
    -----
    On this machine, this process takes tasks from the front while others take them from the back: a new process needs
    a second or two before it is useful. If one dies, its task is run here. They do not import the program that runs
    here (a script, a notebook), and end with it. On a cluster, its scheduler gives the task of a lost worker to
    another.
    """
    left, done = deque(tasks), SimpleQueue[_Done[Result] | None]()
    here = workers is None
    kept = _kept if here else None
    if kept is not None:
        pool, threads = kept.pool, max(min(_cores(), len(left)) - 1, 0)
    elif workers is None:
        threads = max(min(_cores(), len(left) // max(min_tasks_per_worker, 1)) - 1, 0)
        pool = _helpers(threads) if threads else None
    else:
        pool, threads = workers.executor, min(2 * workers.count, len(left))  # one task runs, one waits
    call = partial(_call, uuid.uuid4().hex, pickle.dumps(make_worker))
    queued: list[Future[None]] = []
    for _ in range(threads):
        if kept is not None:  # a helper first does what `ahead` gave it
            queued.append(kept.threads.submit(_feed, pool, call, left, done))
        else:
            threading.Thread(target=_feed, args=(pool, call, left, done), daemon=True).start()
    run = make_worker() if here else None
    busy = threads
    try:
        meanwhile()
        while busy or (here and left):
            if run is not None and left:
                try:
                    task = left.popleft()
                except IndexError:  # another process has taken the last one
                    continue
                yield run(task)
            if not left:  # what has not come to it is not needed any more
                busy -= sum(one.cancel() for one in queued)
                queued.clear()
            while busy and not (here and left and done.empty()):
                ended = done.get()
                if ended is None:
                    busy -= 1
                elif ended.error is not None:
                    raise ended.error
                else:
                    yield ended.result  # type: ignore[misc]
        if left:
            raise HeelwardError("all workers of the cluster are lost.\nfix: restart them, then run again")
    finally:
        left.clear()
        if here and kept is None and pool is not None:
            _end(pool)


@dataclass(frozen=True)
class _Helpers:
    """Processes that stay, and threads that give them what `ahead` asks for, one thing at a time.

    What is still with a thread can be cancelled without a trace in the processes.
    """

    pool: ProcessPoolExecutor
    threads: ThreadPoolExecutor


_kept: _Helpers | None = None
_ready: Callable[[], None] | None = None
"""What kept helpers do at their start, within a block that keeps them."""


@contextmanager
def kept_helpers(ready: Callable[[], None]) -> Iterator[None]:
    """Let the processes of this machine that help stay from one use to the next, until the outermost block ends.

    Parameters
    ----------
    ready : callable
        What they do first when `call_helpers` starts them: load what they will need. Without that call each use
        starts its own.
    """
    global _kept, _ready
    if _ready is not None:
        yield
        return
    _ready = ready
    try:
        yield
    finally:
        if _kept is not None:
            _kept.threads.shutdown(wait=False, cancel_futures=True)
            _end(_kept.pool)
        _kept = _ready = None


def call_helpers() -> None:
    """Start the helpers that a block keeps, if there are none yet; while they get ready, this goes on."""
    global _kept
    count = _cores() - 1
    if _ready is not None and _kept is None and count:
        _kept = _Helpers(_helpers(count), ThreadPoolExecutor(count))
        for _ in range(count):
            _kept.pool.submit(_begin, _ready)


def _begin(ready: Callable[[], None]) -> None:
    ready()
    gc.freeze()  # they stay: no collection goes through them again


def ahead(function: Callable[..., Result], *given: Any) -> Future[Result] | None:
    """Let a kept helper begin something that `finished` returns later; None if there is none."""
    kept = _kept
    return None if kept is None else kept.threads.submit(lambda: kept.pool.submit(function, *given).result())


def finished(
    begun: Future[Result] | None, function: Callable[..., Result], *given: Any, patient: bool = False
) -> Result:
    """Return what a helper has done; if it has not come to it (unless we are patient), or has died, do it here."""
    if begun is None or (not patient and begun.cancel()):
        return function(*given)
    try:
        return begun.result()
    except BrokenExecutor:  # it has died
        return function(*given)


def _helpers(count: int) -> ProcessPoolExecutor:
    return ProcessPoolExecutor(count, initializer=_end_with, initargs=(os.getpid(),), env=HELPERS_GROW)


def _end(pool: ProcessPoolExecutor) -> None:
    """End the processes of a pool.

    loky does not wait for its thread that feeds them. If this process ended while that thread gives back a semaphore,
    a warning would tell of one that is lost.
    """
    feeding = [thread for thread in threading.enumerate() if thread.name == "QueueFeederThread"]
    pool.shutdown(wait=True, kill_workers=True)
    for thread in feeding:
        thread.join(0.2)


def _cores() -> int:
    """Number of cores available to this process."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _feed(
    pool: Executor,
    call: Callable[[Any], Any],
    left: deque[Any],
    done: SimpleQueue[_Done[Any] | None],
) -> None:
    """Give tasks from the back of the queue to other processes, one at a time; put None on the results at the end."""
    try:
        while left:
            task = left.pop()
            try:
                done.put(_Done(pool.submit(call, task).result()))
            except BrokenExecutor:
                left.append(task)
                return
    except IndexError:  # another took the last task
        pass
    except BaseException as error:
        done.put(_Done(error=error))
    finally:
        done.put(None)


def _end_with(parent: int) -> None:
    """End this process soon after the one that started it, however that ended; that one handles interrupts."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    when_ended(parent, partial(os._exit, 1))


def when_ended(parent: int, then: Callable[[], object]) -> None:
    """Call a function soon after this process's parent has ended, however it ended."""

    def watch() -> None:
        while os.getppid() == parent:
            time.sleep(0.5)
        then()

    threading.Thread(target=watch, daemon=True).start()


_made: tuple[str, Callable[[Any], Any]] | None = None


def _call(job: str, make_worker: bytes, task: Any) -> Any:
    """Run a task in another process, with the function that the first task of a job makes there."""
    global _made
    made = _made
    if made is None or made[0] != job:
        made = _made = (job, pickle.loads(make_worker)())
    return made[1](task)


@contextmanager
def cluster(address: str) -> Iterator[Workers | None]:
    """Connect to the scheduler of a Dask cluster while the block runs.

    Parameters
    ----------
    address : str
        Such as ``tcp://10.0.0.5:8786``; empty for this machine alone.

    Raises
    ------
    HeelwardError
        If it cannot be reached, has no workers, or its workers have another version.
    """
    if not address:
        yield None
        return
    try:
        from distributed import Client
    except ImportError as error:
        raise HeelwardError("a cluster needs more packages.\nfix: pip install 'heelward[cluster]'") from error
    try:
        client = Client(address, timeout=ANSWER_S, set_as_default=False)
    except (OSError, ValueError) as error:
        raise HeelwardError(
            f"no scheduler of a Dask cluster answers at {address}: {error}\nfix: start it, or correct the address"
        ) from error
    with client:
        threads = client.nthreads()
        if not threads:
            raise HeelwardError(f"the cluster at {address} has no workers.\nfix: start one: dask worker {address}")
        _refuse_other_versions(client.run(_version), address)
        with client.get_executor() as executor:
            yield Workers(executor, sum(threads.values()))


def _version() -> str:
    return __version__


def _refuse_other_versions(found: dict[str, str], address: str) -> None:
    other = {worker: version for worker, version in found.items() if version != __version__}
    if other:
        worker, version = next(iter(other.items()))
        raise HeelwardError(
            f"{len(other)} worker(s) of the cluster at {address} have another version of heelward: {version} on "
            f"{worker}, {__version__} here.\nfix: install the same version on all"
        )
