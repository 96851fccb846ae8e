"""Prefect flows for the steps: order, retries, schedules, names. The work itself is done in `steps.py`."""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

from deltalake.exceptions import DeltaError
from prefect import flow, serve, task
from prefect.client.schemas.objects import ConcurrencyLimitConfig, ConcurrencyLimitStrategy, State, TaskRun
from prefect.deployments.runner import RunnerDeployment
from prefect.schedules import Cron, Interval, Schedule
from prefect.tasks import Task, exponential_backoff

from pipeline import steps
from pipeline.messages import tell
from pipeline.parallel import when_ended
from pipeline.workspace import Workspace, open_workspace

STEP_S = 6.0 * 3600.0
"""A step that takes longer is given up. [s]"""
_ONE = ConcurrencyLimitConfig(limit=1, collision_strategy=ConcurrencyLimitStrategy.CANCEL_NEW)
"""A run that is due while the one before still works is left out: the next one finds what it would have found."""


def _passing(_task: Task, _run: TaskRun, state: State) -> bool:
    """Retry only temporary failures (disk, network, a commit conflict)."""
    error = state.result(raise_on_failure=False)
    return isinstance(error, OSError | DeltaError)


_retried = {
    "retries": 3, "retry_delay_seconds": exponential_backoff(15), "retry_jitter_factor": 0.5,
    "retry_condition_fn": _passing, "timeout_seconds": STEP_S,
}  # fmt: skip


@contextmanager
def _watched(root: str) -> Iterator[Workspace]:
    """Open a workspace; a failure of what is done with it is told."""
    workspace = open_workspace(Path(root))
    try:
        yield workspace
    except BaseException as error:
        tell(workspace, "failure", f"{type(error).__name__}: {str(error)[:500]}")
        raise


@task(task_run_name="ingest", **_retried)
def ingest(workspace: str) -> int:
    """Land new and changed files that have stopped growing; return the number of files set aside."""
    opened = open_workspace(Path(workspace))
    report = steps.run_ingest(opened, only_settled=True)
    for path, aside in report.set_aside:
        tell(opened, "set aside", f"{path}: {aside}", path=path)
    return len(report.set_aside)


@task(task_run_name="measure", **_retried)
def measure(workspace: str) -> int:
    """Measure stale wells; return their number."""
    return steps.run_measure(open_workspace(Path(workspace))).wells


@task(task_run_name="fit", **_retried)
def fit(workspace: str) -> list[str]:
    """Fit stale models; return their names."""
    return steps.run_fit(open_workspace(Path(workspace))).fitted


@task(task_run_name="report", **_retried)
def report(workspace: str) -> str:
    """Build the report, unless the one that is there was built from the same; return its path."""
    opened = open_workspace(Path(workspace))
    built = steps.run_report(opened, again=False)
    if built.anew:
        tell(opened, "results", f"the report was drawn: {built.path}", path=str(built.path))
    return str(built.path)


@flow(name="heelward-land", flow_run_name="landing of {workspace}", log_prints=True)
def land(workspace: str) -> str:
    """Land what is new, measure and fit."""
    with _watched(workspace) as opened, steps.together():
        aside, wells, fitted = ingest(workspace), measure(workspace), fit(workspace)
        if wells or fitted:
            tell(opened, "results", f"wells measured: {wells}, fits: {len(fitted)}", wells=wells, fitted=fitted)
        done = f"files newly set aside: {aside}, wells measured: {wells}, fits: {len(fitted)}"
        print(done)
        return done


@flow(name="heelward-refresh", flow_run_name="refresh of {workspace}", log_prints=True)
def refresh(workspace: str) -> str:
    """Land, measure and fit what is new, then draw the report."""
    with steps.together(report=True):
        done = land(workspace)
        with _watched(workspace):
            path = report(workspace)
    print(f"{done}, report {path}")
    return path


def deployments(root: Path) -> list[RunnerDeployment]:
    """Return the scheduled flows of a workspace."""
    settings = open_workspace(root).settings
    given, name = {"workspace": str(root)}, root.name or "workspace"
    every = settings.schedules.land

    def cron(text: str) -> Schedule:
        return Cron(text, timezone=settings.time_zone)

    landing = Interval(every) if isinstance(every, int) else cron(every) if every else None
    return [
        land.to_deployment(name=name, schedule=landing, parameters=given, concurrency_limit=_ONE),
        refresh.to_deployment(
            name=name, schedules=[cron(one) for one in settings.schedules.drawn], parameters=given,
            concurrency_limit=_ONE,
        ),
    ]  # fmt: skip


def serve_schedules(root: Path) -> None:
    """Catch up with what was missed, then run the workspace's schedules until stopped."""
    ready = deployments(root)
    try:
        refresh(str(root))
    except Exception as error:  # told already; the schedule tries again
        print(f"the first run failed: {error}")
    serve(*ready, print_starting_message=False)


def end_with(parent: int, others: Sequence[int]) -> None:
    """End this process and what it runs, and other process groups, soon after its parent, however that ended.

    A service that was killed is started again: what it had started must not go on beside the new one.
    """

    def end() -> None:
        for group in (*others, os.getpgid(0)):
            with suppress(ProcessLookupError):
                os.killpg(group, signal.SIGKILL)

    when_ended(parent, end)


if __name__ == "__main__":
    end_with(os.getppid(), [int(group) for group in sys.argv[2:]])
    serve_schedules(Path(sys.argv[1]))
