"""LAS, Parquet, Arrow and packed files: proposed, read, and refused where they are damaged."""

from __future__ import annotations

import gzip
import io
import zipfile
from datetime import datetime
from pathlib import Path

import lasio
import numpy as np
import polars as pl
import pytest

from pipeline.errors import SetAside
from pipeline.ingest.columnar import read_las, read_parquet
from pipeline.ingest.content import content_of
from pipeline.ingest.draft import Draft, drafts
from pipeline.ingest.names import WellRegistry
from tests.ingest.layouts import ROWS, START, job, times


def las_text(**more: str) -> str:
    """A record of samples as LAS 2.0, written by lasio: elapsed time, units, a well and a start in its head."""
    las, j = lasio.LASFile(), job()
    las.well["WELL"] = lasio.HeaderItem("WELL", value="Sandpiper 3H", descr="WELL")
    las.well["DATE"] = lasio.HeaderItem("DATE", value=f"{START:%Y-%m-%d %H:%M:%S}", descr="START")
    las.append_curve("ETIM", np.arange(ROWS, dtype=float), unit="s", descr="elapsed time")
    for name, unit, key, factor in (
        ("TRPRES", "kPa", "pressure", 6.894757293168), ("SLURRY_RATE", "m3/min", "rate", 0.158987294928),
        ("PROP_CONC", "kg/m3", "conc", 119.826427317),
    ):  # fmt: skip
        las.append_curve(name, j[key] * factor, unit=unit, descr=key)
    held = io.StringIO()
    las.write(held, version=2.0, fmt="%.5f")
    return held.getvalue().replace("kPa", more.get("unit", "kPa"))


def proposed(path: Path, data: bytes, spool: Path) -> Draft:
    path.write_bytes(data)
    (draft,) = drafts(path, content_of(path), WellRegistry(), "UTC", spool)
    return draft


def test_a_las_record_lands_in_the_lakes_units(tmp_path: Path) -> None:
    draft = proposed(tmp_path / "Sandpiper 3H stage 6.las", las_text().encode(), tmp_path / "s")
    assert draft.shaped is not None, draft.problem
    rows = draft.shaped.rows
    frame = next(iter(rows.frames()))
    assert frame["slurry_rate_bpm"].max() == pytest.approx(82.0, rel=1e-4)
    assert frame["treating_pressure_psi"].max() == pytest.approx(job()["pressure"].max(), rel=1e-4)
    assert frame["proppant_conc_ppa"].max() == pytest.approx(2.5, rel=1e-2)
    assert rows.first is not None and rows.first.replace(tzinfo=None) == datetime(2023, 3, 17, 22, 56, 12)
    assert list(rows.numbers) == [6]
    assert 'kind = "las"' in draft.proposal.toml()


def test_what_is_no_las_is_set_aside(tmp_path: Path) -> None:
    for text in ("no LAS", "~V\n~A\n", las_text()[:300]):
        path = tmp_path / "x.las"
        path.write_text(text, encoding="utf-8")
        with pytest.raises(SetAside):
            read_las(content_of(path))


@pytest.mark.parametrize("kind", ["parquet", "arrow"])
def test_a_parquet_or_arrow_record_lands(tmp_path: Path, kind: str) -> None:
    j = job()
    frame = pl.DataFrame(
        {
            "time": pl.Series(times("%Y-%m-%d %H:%M:%S")).str.to_datetime(), "treating_pressure_psi": j["pressure"],
            "slurry_rate_bpm": j["rate"], "proppant_conc_ppa": j["conc"],
        }
    )  # fmt: skip
    held = io.BytesIO()
    if kind == "parquet":
        frame.write_parquet(held)
    else:
        frame.write_ipc(held)
    draft = proposed(tmp_path / f"Ruff 1H stage 2.{kind}", held.getvalue(), tmp_path / "s")
    assert draft.shaped is not None, draft.problem
    assert draft.shaped.rows.height == ROWS
    assert draft.shaped.rows.first is not None and draft.shaped.rows.first.replace(tzinfo=None) == START
    with pytest.raises(SetAside):
        path = tmp_path / "damaged"
        path.write_bytes(held.getvalue()[:400])
        read_parquet(content_of(path))


def test_packed_files_are_what_is_in_them(tmp_path: Path) -> None:
    data = las_text().encode()
    packed = tmp_path / "Sandpiper 3H stage 6.las.gz"
    packed.write_bytes(gzip.compress(data))
    archive = tmp_path / "Sandpiper 3H stage 6.zip"
    with zipfile.ZipFile(archive, "w", zipfile.ZIP_DEFLATED) as held:
        held.writestr("any/name.las", data)
    assert content_of(packed).digest == content_of(archive).digest
    with zipfile.ZipFile(archive, "a") as held:
        held.writestr("second.las", data)
    with pytest.raises(SetAside, match="does not hold one file"):
        content_of(archive)
    archive.write_bytes(archive.read_bytes()[:200])
    with pytest.raises(SetAside, match="cannot be unpacked"):
        content_of(archive)


def test_a_zip_that_unpacks_without_end_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("pipeline.ingest.content.LARGEST_BYTES", 4_000_000)
    bomb = tmp_path / "bomb.zip"
    with zipfile.ZipFile(bomb, "w", zipfile.ZIP_DEFLATED) as held:
        held.writestr("zeros.csv", b"0" * 20_000_000)
    with pytest.raises(SetAside, match="too large"):
        content_of(bomb)
