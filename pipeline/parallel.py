"""Run CPU-bound tasks on all cores of the machine."""

from __future__ import annotations

import os
import pickle
import signal
import subprocess
import sys
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from queue import SimpleQueue
from threading import Thread
from typing import Any, Generic, TypeVar

Task = TypeVar("Task")
Result = TypeVar("Result")
MakeWorker = Callable[[], Callable[[Task], Result]]

_WORKER = (
    "import pickle, sys; sys.path[:] = pickle.load(sys.stdin.buffer); "
    "from pipeline import parallel; parallel.run_worker()"
)


@dataclass(frozen=True)
class _Done(Generic[Result]):
    """Result or error of a task in another process."""

    result: Result | None = None
    error: BaseException | None = None


def map_unordered(
    make_worker: MakeWorker[Task, Result], tasks: Iterable[Task], min_tasks_per_worker: int
) -> Iterator[Result]:
    """Run independent tasks on all cores; yield their results as they finish, in no fixed order.

    Parameters
    ----------
    make_worker : callable
        Called once in each process; returns the function that runs a task. Must be picklable, like the tasks: a
        module-level function, or a partial of one.
    tasks : iterable
    min_tasks_per_worker : int
        Tasks that pay for starting one process: with fewer than twice as many, this process runs them all.

    Yields
    ------
    object
        What the function returns. What it raises is raised here, and tasks that have not started are dropped.

    Notes
    -----
    This process takes tasks from the front while one worker per further core takes them from the back: a new process
    needs a second or two before it is useful. If a worker dies, its task is run elsewhere. Workers are plain
    interpreters that read tasks from stdin. They do not import the program that runs here (a script, a notebook), and
    end when stdin closes, that is with this process.

    ``joblib`` (loky) was measured in its place: 20 wells of the sample campaign on two cores took 5.5 to 8.0 s with it
    and 5.1 to 5.7 s with this module, because its workers start while the calling process waits.
    """
    left = deque(tasks)
    run = make_worker()
    done: SimpleQueue[_Done[Result] | None] = SimpleQueue()
    workers = [_start() for _ in range(min(_cores(), len(left) // max(min_tasks_per_worker, 1)) - 1)]
    for worker in workers:
        Thread(target=_feed, args=(worker, make_worker, left, done), daemon=True).start()
    busy = len(workers)
    try:
        while left or busy:
            try:
                task = left.popleft()
            except IndexError:  # a worker has taken the last one
                pass
            else:
                yield run(task)
            while busy and not (left and done.empty()):
                ended = done.get()
                if ended is None:
                    busy -= 1
                elif ended.error is not None:
                    raise ended.error
                else:
                    yield ended.result  # type: ignore[misc]
    finally:
        left.clear()
        for worker in workers:
            worker.kill()
            worker.wait()


def _cores() -> int:
    """Number of cores available to this process."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _start() -> subprocess.Popen[bytes]:
    return subprocess.Popen([sys.executable, "-c", _WORKER], stdin=subprocess.PIPE, stdout=subprocess.PIPE)


def _feed(
    worker: subprocess.Popen[bytes],
    make_worker: MakeWorker[Any, Any],
    left: deque[Any],
    done: SimpleQueue[_Done[Any] | None],
) -> None:
    """Feed a worker tasks from the back of the queue; put None on the queue of results when it has ended."""
    assert worker.stdin is not None and worker.stdout is not None
    try:
        with worker.stdin as ask, worker.stdout as answer:
            for first in (sys.path, make_worker):
                pickle.dump(first, ask)
            while left:
                task = left.pop()
                try:
                    pickle.dump(task, ask)
                    ask.flush()
                    done.put(pickle.load(answer))
                except (OSError, EOFError, pickle.UnpicklingError):
                    left.append(task)
                    return
    except (OSError, IndexError):  # it ended before it started; another took the last task
        pass
    except Exception as error:
        done.put(_Done(error=error))
    finally:
        done.put(None)


def run_worker() -> None:
    """Worker loop: unpickle the function, then tasks, from stdin; pickle each result to stdout."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent process handles interrupts
    ask, answer = sys.stdin.buffer, sys.stdout.buffer
    sys.stdout = sys.stderr
    run = pickle.load(ask)()
    while True:
        try:
            task = pickle.load(ask)
        except EOFError:
            return
        try:
            done = _Done(result=run(task))
        except Exception as error:
            done = _Done(error=error)
        pickle.dump(done, answer)
        answer.flush()
