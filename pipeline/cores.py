"""Spread work that is bound by the processor over the machine's cores."""

from __future__ import annotations

import os
import signal
import threading
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from multiprocessing import get_context, parent_process
from typing import Any, TypeVar

Task = TypeVar("Task")
Result = TypeVar("Result")


def spread(prepare: Callable[[], Callable[[Task], Result]], tasks: Iterable[Task], worth: int) -> Iterator[Result]:
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
    This process takes the tasks from the front while the others, one for each further core, take them from the back:
    a new process needs a second or two before it is of use. New processes are spawned, not forked, because the
    libraries beneath run threads. They end with this process however it ends.
    """
    left = deque(tasks)
    work = prepare()
    others = min(_cores(), len(left) // max(worth, 1)) - 1
    if others < 1:
        while left:
            yield work(left.popleft())
        return
    pool = ProcessPoolExecutor(others, mp_context=get_context("spawn"), initializer=_begin, initargs=(prepare,))
    away: set[Future[Result]] = set()
    try:
        while left or away:
            while left and len(away) <= others:
                away.add(pool.submit(_do, left.pop()))
            if left:
                yield work(left.popleft())
            else:
                wait(away, return_when=FIRST_COMPLETED)
            ended = {future for future in away if future.done()}
            away -= ended
            for future in ended:
                yield future.result()
    finally:
        pool.shutdown(cancel_futures=True)


def _cores() -> int:
    """Cores that this process may run on."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


_WORK: list[Callable[[Any], Any]] = []
"""What a process that was started here does with its tasks."""


def _begin(prepare: Callable[[], Callable[[Any], Any]]) -> None:
    """Leave an interrupt to the process that spreads the work, and end when it ends, even if it is killed."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _WORK.append(prepare())
    parent = parent_process()
    if parent is not None:
        threading.Thread(target=_end_after, args=(parent,), daemon=True).start()


def _do(task: Any) -> Any:
    return _WORK[0](task)


def _end_after(parent: object) -> None:
    parent.join()  # type: ignore[attr-defined]
    os._exit(1)
