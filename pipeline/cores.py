"""Spread work that is bound by the processor over the machine's cores."""

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
Prepare = Callable[[], Callable[[Task], Result]]

_HELP = "import pickle, sys; sys.path[:] = pickle.load(sys.stdin.buffer); from pipeline import cores; cores.help_out()"


@dataclass(frozen=True)
class _Done(Generic[Result]):
    """What became of a task in another process."""

    result: Result | None = None
    error: BaseException | None = None


def spread(prepare: Prepare[Task, Result], tasks: Iterable[Task], worth: int) -> Iterator[Result]:
    """Do independent tasks on all cores and yield their results as they end, in no order.

    Parameters
    ----------
    prepare : callable
        Called once in each process, returns the function that does a task. It can be pickled, as the tasks can: a
        function of a module, or a partial of one.
    tasks : iterable
    worth : int
        Tasks that pay for starting a process: with fewer than twice as many, all is done here.

    Yields
    ------
    object
        What the function returns. What it raises is raised here, and the tasks that have not begun are dropped.

    Notes
    -----
    This process takes the tasks from the front while its helpers, one for each further core, take them from the back:
    a new process needs a second or two before it is of use. A helper that dies gives its task back. Helpers are plain
    interpreters that read tasks from their input: they know nothing of the program that is run here (a script of a
    user's, a notebook), and end when their input does, that is with this process however it ends.
    """
    left = deque(tasks)
    work = prepare()
    done: SimpleQueue[_Done[Result] | None] = SimpleQueue()
    helpers = [_start() for _ in range(min(_cores(), len(left) // max(worth, 1)) - 1)]
    for helper in helpers:
        Thread(target=_attend, args=(helper, prepare, left, done), daemon=True).start()
    busy = len(helpers)
    try:
        while left or busy:
            try:
                task = left.popleft()
            except IndexError:  # a helper has taken the last one
                pass
            else:
                yield work(task)
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
        for helper in helpers:
            helper.kill()
            helper.wait()


def _cores() -> int:
    """Cores that this process may run on."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _start() -> subprocess.Popen[bytes]:
    return subprocess.Popen([sys.executable, "-c", _HELP], stdin=subprocess.PIPE, stdout=subprocess.PIPE)


def _attend(
    helper: subprocess.Popen[bytes], prepare: Prepare[Any, Any], left: deque[Any], done: SimpleQueue[_Done[Any] | None]
) -> None:
    """Give a helper tasks from the back until there are none; None on the queue says that it has ended."""
    assert helper.stdin is not None and helper.stdout is not None
    try:
        with helper.stdin as ask, helper.stdout as answer:
            for first in (sys.path, prepare):
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
    except (OSError, IndexError):  # it was gone before it began; another took the last task
        pass
    except Exception as error:
        done.put(_Done(error=error))
    finally:
        done.put(None)


def help_out() -> None:
    """Be a helper: read how to work and then tasks from the input, write what became of each to the output."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # an interrupt is the other process's to answer
    ask, answer = sys.stdin.buffer, sys.stdout.buffer
    sys.stdout = sys.stderr
    work = pickle.load(ask)()
    while True:
        try:
            task = pickle.load(ask)
        except EOFError:
            return
        try:
            done = _Done(result=work(task))
        except Exception as error:
            done = _Done(error=error)
        pickle.dump(done, answer)
        answer.flush()
