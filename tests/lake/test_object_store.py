"""A lake in an object store: a server that speaks S3 on this machine, with writers at once."""

from __future__ import annotations

import logging
import threading
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import polars as pl
import pytest

from pipeline import steps
from pipeline.errors import HeelwardError
from pipeline.lake import Lake
from pipeline.schemas.records import TREATMENT
from pipeline.workspace import SETTINGS_FILE, Workspace, open_workspace
from tests.builders import ORIGIN, rows_of
from tests.command import heelward
from tests.conftest import copy_sample

pytestmark = pytest.mark.filterwarnings("default")
SECRET = "gravel-and-salt"
WRITERS, COMMITS = 4, 6
SAFE = {"AWS_CONDITIONAL_PUT": "etag"}


@pytest.fixture(scope="module")
def server() -> Iterator[str]:
    """Address of a server with an empty bucket, named team."""
    from moto.server import ThreadedMotoServer

    logging.getLogger("werkzeug").setLevel(logging.ERROR)
    held = ThreadedMotoServer(ip_address="127.0.0.1", port=0, verbose=False)
    held.start()
    host, port = held.get_host_and_port()
    address = f"http://{host}:{port}"
    with urllib.request.urlopen(urllib.request.Request(f"{address}/team", method="PUT")) as made:
        assert made.status == 200
    yield address
    held.stop()


@pytest.fixture
def store(server: str, monkeypatch: pytest.MonkeyPatch, request: pytest.FixtureRequest) -> str:
    """URL of an empty lake; the credentials are in the environment only."""
    given = {
        "AWS_ACCESS_KEY_ID": "mill", "AWS_SECRET_ACCESS_KEY": SECRET, "AWS_ENDPOINT_URL": server,
        "AWS_REGION": "us-east-1", "AWS_ALLOW_HTTP": "true",
    }  # fmt: skip
    for name, value in given.items():
        monkeypatch.setenv(name, value)
    return f"s3://team/{abs(hash(request.node.name))}"


def in_store(folder: Path, url: str) -> Workspace:
    """The sample workspace with its lake in the store."""
    copy_sample(folder)
    settings = folder / SETTINGS_FILE
    lines = [line for line in settings.read_text(encoding="utf-8").splitlines() if not line.startswith("lake")]
    settings.write_text("\n".join([f'lake = "{url}"', *lines, ""]), encoding="utf-8")
    return open_workspace(folder)


def samples(well: str, source: str) -> pl.DataFrame:
    rows = [{"well_id": well, "stage": 1, "time": ORIGIN, "treating_pressure_psi": 5000.0, "source_id": source}]
    return pl.DataFrame(rows, schema=TREATMENT.dtypes)


@pytest.mark.parametrize("same_well", [True, False])
def test_no_commit_is_lost_between_writers_at_once(store: str, same_well: bool) -> None:
    """Overwrites of one partition, each with a condition on its own source: all commits stand."""
    Lake(store, SAFE).replace(TREATMENT, samples("teal-1h", "first"), {"source_id": ["first"]})
    failed: list[BaseException] = []

    def write(number: int) -> None:
        try:
            lake = Lake(store, SAFE)
            for commit in range(COMMITS):
                well = "teal-1h" if same_well else f"teal-{number}h"
                source = f"{number}-{commit}"
                lake.replace(TREATMENT, samples(well, source), {"well_id": [well], "source_id": [source]})
        except BaseException as error:
            failed.append(error)

    threads = [threading.Thread(target=write, args=(number,)) for number in range(WRITERS)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert not failed
    found = set(Lake(store, SAFE).scan_raw(TREATMENT).collect()["source_id"])
    assert found == {"first", *(f"{number}-{commit}" for number in range(WRITERS) for commit in range(COMMITS))}


@pytest.mark.turn
def test_a_lake_in_a_store_is_that_of_a_folder_and_no_credential_is_written(store: str, tmp_path: Path) -> None:
    space = in_store(tmp_path / "far", store)
    done = heelward("refresh", "-w", str(space.root))
    assert done.returncode == 0, done.stderr
    near = copy_sample(tmp_path / "near")
    steps.refresh(near)
    expected = rows_of(steps.open_lake(near))
    for name, frame in rows_of(steps.open_lake(space)).items():
        assert frame.equals(expected[name]), name
    assert "report: unchanged" in heelward("refresh", "-w", str(space.root)).stdout
    assert SECRET not in done.stdout + done.stderr
    for path in space.root.rglob("*"):
        assert not path.is_file() or SECRET.encode() not in path.read_bytes(), path


@pytest.mark.turn
def test_two_workspaces_refresh_one_lake_at_once(store: str, tmp_path: Path) -> None:
    """The lease lets one write at a time: both end well, and the rows are there once."""
    spaces = [in_store(tmp_path / name, store) for name in ("a", "b")]
    codes: list[int] = []
    threads = [
        threading.Thread(target=lambda space=space: codes.append(steps.run_ingest(space).landed)) for space in spaces
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(codes) == 2
    rows = Lake(store, SAFE).scan(TREATMENT).collect()
    assert rows.height > 0 and not rows.select(TREATMENT.key).is_duplicated().any()


def test_what_a_store_refuses_is_told(store: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    space = in_store(tmp_path / "far", store)
    monkeypatch.setenv("AWS_ENDPOINT_URL", "http://127.0.0.1:9")
    done = heelward("status", "-w", str(space.root))
    assert done.returncode != 0 and "the object store cannot be reached" in done.stderr
    assert "Traceback" not in done.stderr and SECRET not in done.stderr


def test_a_credential_in_the_settings_is_refused(tmp_path: Path) -> None:
    (tmp_path / SETTINGS_FILE).write_text('[storage]\nAWS_SECRET_ACCESS_KEY = "x"\n', encoding="utf-8")
    with pytest.raises(HeelwardError, match="is a credential: it belongs in the environment"):
        open_workspace(tmp_path)
