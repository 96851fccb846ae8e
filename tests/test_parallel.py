"""Work on several cores: all of it is done, errors come through, and no process outlives the one that began it."""

from __future__ import annotations

import os
import pickle
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np
import pytest
from loky.backend.queues import Queue

from pipeline import parallel
from pipeline.jit import compiled


def adder(base: int) -> Callable[[int], tuple[int, int]]:
    return partial(add, base)


def add(base: int, task: int) -> tuple[int, int]:
    if task < 0:
        raise ValueError(f"cannot do {task}")
    time.sleep(0.02)
    return os.getpid(), base + task


def test_few_tasks_are_done_here_and_in_order() -> None:
    done = list(parallel.map_unordered(partial(adder, 10), range(5), min_tasks_per_worker=10))
    assert done == [(os.getpid(), 10 + task) for task in range(5)]


def test_many_tasks_are_done_once_each_by_more_than_one_process(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(parallel, "_cores", lambda: 3)
    done = list(parallel.map_unordered(partial(adder, 10), range(300), min_tasks_per_worker=1))
    assert sorted(value for _, value in done) == list(range(10, 310))
    processes = {process for process, _ in done}
    assert os.getpid() in processes
    assert 2 <= len(processes) <= 3


held: list[np.ndarray] = []


def grow() -> int:
    held.append(np.ones(45_000_000))  # 360 MB, more than loky's own limit
    return os.getpid()


def test_a_helper_that_has_grown_goes_on() -> None:
    """loky measures it once a second, and another would need two seconds to start."""
    with parallel._helpers(1) as pool:
        pool.submit(time.sleep, 0.0).result()
        time.sleep(1.1)
        assert len({pool.submit(grow).result() for _ in range(2)}) == 1


def test_the_thread_that_feeds_a_pool_ends_before_the_use_of_it(monkeypatch: pytest.MonkeyPatch) -> None:
    feed = Queue._feed

    def slow(*given: object) -> None:
        feed(*given)
        time.sleep(0.1)

    monkeypatch.setattr(parallel, "_cores", lambda: 2)
    monkeypatch.setattr(Queue, "_feed", staticmethod(slow))
    assert len(list(parallel.map_unordered(partial(adder, 10), range(300), min_tasks_per_worker=1))) == 300
    assert "QueueFeederThread" not in {thread.name for thread in threading.enumerate()}


def test_an_error_in_another_process_is_raised_here(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(parallel, "_cores", lambda: 2)
    tasks = [*range(200), -7]  # the last task goes to the other process
    with pytest.raises(ValueError, match="cannot do -7"):
        list(parallel.map_unordered(partial(adder, 0), tasks, min_tasks_per_worker=1))


def dier() -> Callable[[int], int]:
    return die_elsewhere


def die_elsewhere(task: int) -> int:
    if os.environ.get("HEELWARD_TEST_MAIN") != str(os.getpid()):
        os._exit(3)
    time.sleep(0.1)
    return task


def test_a_process_that_dies_gives_its_task_back(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(parallel, "_cores", lambda: 3)
    monkeypatch.setenv("HEELWARD_TEST_MAIN", str(os.getpid()))
    done = list(parallel.map_unordered(dier, range(60), min_tasks_per_worker=1))
    assert sorted(done) == list(range(60))


def test_what_cannot_be_sent_is_an_error(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(parallel, "_cores", lambda: 2)
    with pytest.raises((pickle.PicklingError, AttributeError, TypeError)):
        list(parallel.map_unordered(partial(adder, 0), [*range(200), lambda: None], min_tasks_per_worker=1))  # type: ignore[list-item]


SPREADING = """
import os, sys, time
from functools import partial
from pipeline import parallel
from tests.test_parallel import adder
parallel._cores = lambda: 2
for process, _ in parallel.map_unordered(partial(adder, 0), range(100_000), min_tasks_per_worker=1):
    if process != os.getpid():
        print(process, flush=True)
        time.sleep(600)
"""


@pytest.mark.parametrize("way", ["script", "input"])
def test_a_killed_process_leaves_none_behind(tmp_path: Path, way: str) -> None:
    """Also where the program is a script without a guard, or comes from the input: helpers never run it."""
    script = tmp_path / "spreading.py"
    script.write_text(SPREADING, encoding="utf-8")
    root = Path(__file__).parent.parent
    called = [sys.executable, str(script)] if way == "script" else [sys.executable]
    with (
        script.open(encoding="utf-8") as text,
        subprocess.Popen(
            called, stdin=text, stdout=subprocess.PIPE, text=True, env={**os.environ, "PYTHONPATH": str(root)}
        ) as run,
    ):
        assert run.stdout is not None
        other = int(run.stdout.readline())
        os.kill(run.pid, signal.SIGKILL)
        run.wait()
        until = time.monotonic() + 20.0
        while alive(other) and time.monotonic() < until:
            time.sleep(0.05)
    assert not alive(other)


def alive(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    status = Path(f"/proc/{process}/stat")
    return not status.exists() or status.read_text(encoding="utf-8").rsplit(")", 1)[1].split()[0] != "Z"


def test_a_function_without_a_place_for_its_code_is_compiled_all_the_same() -> None:
    space: dict[str, Callable[[float], float]] = {}
    exec("def double(x):\n    return 2.0 * x", space)  # comes from no file
    assert compiled(space["double"])(21.0) == 42.0
    assert np.isinf(compiled(eval("lambda x: 1.0 / x"))(0.0))


def test_kept_helpers_serve_several_uses_and_end_with_the_block(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(parallel, "_cores", lambda: 2)
    assert parallel.ahead(os.getpid) is None
    with parallel.kept_helpers(lambda: None):
        assert parallel.ahead(os.getpid) is None
        parallel.call_helpers()
        begun = parallel.ahead(os.getpid)
        assert begun is not None
        helper = begun.result()
        with parallel.kept_helpers(lambda: None):  # a block within keeps the same
            assert parallel.finished(parallel.ahead(os.getpid), os.getpid) in (helper, os.getpid())
        assert alive(helper)
        assert list(parallel.map_unordered(partial(adder, 10), [], min_tasks_per_worker=1)) == []  # nothing to do
        for _ in range(2):  # few tasks too: the helper is there already
            done = list(parallel.map_unordered(partial(adder, 10), range(40), min_tasks_per_worker=100))
            assert sorted(value for _, value in done) == list(range(10, 50))
            assert {process for process, _ in done} == {os.getpid(), helper}
    assert parallel.ahead(os.getpid) is None
    until = time.monotonic() + 20.0
    while alive(helper) and time.monotonic() < until:
        time.sleep(0.05)
    assert not alive(helper)


def test_a_kept_helper_that_dies_is_done_without(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(parallel, "_cores", lambda: 2)
    monkeypatch.setenv("HEELWARD_TEST_MAIN", str(os.getpid()))
    with parallel.kept_helpers(lambda: None):
        parallel.call_helpers()
        assert sorted(parallel.map_unordered(dier, range(20), min_tasks_per_worker=1)) == list(range(20))
        assert parallel.finished(parallel.ahead(os.getpid), os.getpid) == os.getpid()


def test_what_a_kept_helper_has_not_come_to_is_done_here(
    monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(parallel, "_cores", lambda: 2)
    with parallel.kept_helpers(lambda: None):
        parallel.call_helpers()
        begun = [parallel.ahead(time.sleep, 60.0), *(parallel.ahead(os.getpid) for _ in range(5))]
        for one in reversed(begun[1:]):
            assert parallel.finished(one, os.getpid) == os.getpid()
        before = time.monotonic()
    assert time.monotonic() - before < 30.0  # the block does not wait for what nobody asks for
    assert "Traceback" not in capfd.readouterr().err


def test_a_helper_that_is_busy_keeps_nothing_waiting(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(parallel, "_cores", lambda: 2)
    with parallel.kept_helpers(lambda: None):
        parallel.call_helpers()
        parallel.ahead(time.sleep, 60.0)
        before = time.monotonic()
        done = list(parallel.map_unordered(partial(adder, 10), range(4), min_tasks_per_worker=1))
        assert sorted(done) == [(os.getpid(), value) for value in range(10, 14)]
        assert time.monotonic() - before < 30.0


def test_what_is_done_meanwhile_is_done_while_a_helper_works(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(parallel, "_cores", lambda: 2)
    tasks = list(range(5))
    with parallel.kept_helpers(lambda: None):
        parallel.call_helpers()
        helper = parallel.finished(parallel.ahead(os.getpid), os.getpid)
        done = list(parallel.map_unordered(partial(adder, 10), tasks, 1, meanwhile=lambda: time.sleep(5.0)))
    assert sorted(value for _, value in done) == list(range(10, 15))
    assert {process for process, _ in done} == {helper}
    called: list[int] = []
    assert len(list(parallel.map_unordered(partial(adder, 10), tasks, 100, meanwhile=lambda: called.append(1)))) == 5
    assert called == [1]
