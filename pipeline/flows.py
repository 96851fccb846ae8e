"""Prefect flows for the steps: order, retries, schedules, names. The work itself is done in `steps.py`."""

from __future__ import annotations

import sys
from pathlib import Path

from deltalake.exceptions import DeltaError
from prefect import flow, serve, task
from prefect.client.schemas.objects import State, TaskRun
from prefect.schedules import Cron
from prefect.tasks import Task

from pipeline import steps
from pipeline.workspace import open_workspace


def _passing(_task: Task, _run: TaskRun, state: State) -> bool:
    """Retry only temporary failures (disk, network, a commit conflict)."""
    error = state.result(raise_on_failure=False)
    return isinstance(error, OSError | DeltaError)


@task(task_run_name="ingest", retries=2, retry_delay_seconds=30, retry_condition_fn=_passing)
def ingest(workspace: str) -> int:
    """Land new and changed files; return the number of files set aside."""
    return len(steps.run_ingest(open_workspace(Path(workspace))).set_aside)


@task(task_run_name="measure", retries=2, retry_delay_seconds=30, retry_condition_fn=_passing)
def measure(workspace: str) -> int:
    """Measure stale wells; return their number."""
    return steps.run_measure(open_workspace(Path(workspace))).wells


@task(task_run_name="fit", retries=2, retry_delay_seconds=30, retry_condition_fn=_passing)
def fit(workspace: str) -> list[str]:
    """Fit stale models; return their names."""
    return steps.run_fit(open_workspace(Path(workspace))).fitted


@task(task_run_name="report", retries=2, retry_delay_seconds=30, retry_condition_fn=_passing)
def report(workspace: str) -> str:
    """Build the report; return its path."""
    return str(steps.run_report(open_workspace(Path(workspace)), again=False).path)


@flow(name="heelward-refresh", flow_run_name="refresh of {workspace}", log_prints=True)
def refresh(workspace: str) -> str:
    """Run the four steps in order."""
    aside = ingest(workspace)
    wells = measure(workspace)
    fitted = fit(workspace)
    path = report(workspace)
    print(f"{aside} files set aside, {wells} wells measured, {len(fitted)} fits, report {path}")
    return path


def serve_schedules(root: Path) -> None:
    """Register the workspace's schedules and run them until stopped."""
    settings = open_workspace(root).settings
    cron = settings.schedules.refresh
    schedule = Cron(cron, timezone=settings.time_zone) if cron else None
    deployment = refresh.to_deployment(
        name=root.name or "workspace", schedule=schedule, parameters={"workspace": str(root)}
    )
    serve(deployment, print_starting_message=False)


if __name__ == "__main__":
    serve_schedules(Path(sys.argv[1]))
