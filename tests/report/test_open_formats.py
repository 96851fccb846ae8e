"""Results in open formats: WITSML 2.1 against the standard's own types, LAS 2.0 through lasio, and back through our door."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import lasio
import polars as pl
import pytest
from energyml.witsml.v2_1 import witsmlv2
from xsdata.formats.dataclass.parsers import XmlParser
from xsdata.formats.dataclass.parsers.config import ParserConfig

from pipeline import queries, steps
from pipeline.cli import app
from pipeline.commands.export import export
from pipeline.errors import HeelwardError
from pipeline.ingest.content import content_of
from pipeline.ingest.draft import drafts
from pipeline.ingest.names import WellRegistry
from pipeline.report.stim_job import STAGE, stim_job
from pipeline.schemas.records import TREATMENT
from pipeline.workspace import Workspace


def landed(path: Path) -> pl.DataFrame:
    (draft,) = drafts(path, content_of(path), WellRegistry(), "UTC", path.parent / "spool")
    assert draft.shaped is not None, draft.problem
    return pl.concat(draft.shaped.rows.frames())


def stages(workspace: Workspace) -> list[dict[str, Any]]:
    answer = queries.run_sql(steps.connect(workspace), "SELECT * FROM stage ORDER BY stage")
    return answer.frame.to_dicts()


def strict(document: bytes) -> Any:
    """Read with the types of the standard's schema (package energyml-witsml2-1); what it does not know is an error."""
    config = ParserConfig(
        fail_on_unknown_properties=True, fail_on_unknown_attributes=True, fail_on_converter_warnings=True
    )
    return XmlParser(config=config).from_bytes(document, witsmlv2.StimJob)


def test_stages_written_as_witsml_fit_the_standards_types_and_land_again(
    measured_slice: Workspace, tmp_path: Path
) -> None:
    rows = stages(measured_slice)
    out = tmp_path / "job.xml"
    assert "StimJob" in export(measured_slice, rows[0]["well_id"], out, stage=None, run=None)
    job = strict(out.read_bytes())
    assert job.stage_count == len(rows) == len(job.job_stage)
    for stage, row in zip(job.job_stage, rows, strict=True):
        assert stage.number == row["stage"] and stage.screened_out == row["screenout"]
        assert stage.initial_shutin_pres.value == pytest.approx(row["isip_psi"], rel=1e-6)
        assert stage.total_volume.value == pytest.approx(row["slurry_bbl"], rel=1e-6)
        assert (stage.total_volume.uom.value, stage.total_pump_time.uom.value) == ("bbl", "min")
    again = landed(out).sort("stage")
    for name in ("isip_psi", "breakdown_pressure_psi", "avg_treating_pressure_psi", "max_treating_pressure_psi",
                 "pressure_5min_psi", "pad_bbl", "flush_bbl"):  # fmt: skip
        assert again[name].to_list() == pytest.approx([row[name] for row in rows], rel=1e-6), name


def test_what_is_not_measured_has_no_element() -> None:
    row: dict[str, Any] = dict.fromkeys([*(name for _, name, _ in STAGE),
                         "proppant_lbm", "pressure_5min_psi", "pressure_10min_psi", "pressure_15min_psi"])  # fmt: skip
    row |= {"stage": 4, "isip_confidence": "none", "breakdown_confidence": "none"}
    job = strict(
        stim_job("A & <B>\x07", [row | {"isip_psi": float("nan"), "slurry_bbl": float("inf"), "flush_bbl": -0.0}])
    )
    assert job.job_stage[0].total_volume is None and job.job_stage[0].volume_flush.value == 0.0
    assert job.citation.title == "Stimulation of A & <B>" and job.total_proppant_used is None
    (stage,) = job.job_stage
    assert (stage.number, stage.initial_shutin_pres, stage.screened_out, stage.shut_in_pres) == (4, None, None, [])


def test_a_record_written_as_las_has_its_picks_and_lands_again(measured_slice: Workspace, tmp_path: Path) -> None:
    row = stages(measured_slice)[1]
    out = tmp_path / "record.las"
    export(measured_slice, row["well_id"], out, stage=row["stage"], run=None)
    las = lasio.read(out, engine="normal")
    assert float(las.params["ISIP"].value) == pytest.approx(row["isip_psi"], rel=1e-6)
    assert las.params["ISIP"].unit == "psi" and las.params["ISIP"].descr.startswith("confidence")
    assert las.curves[0].mnemonic == "ETIM" and las.curves[1].unit == "psi"
    own = steps.open_lake(measured_slice).scan(TREATMENT).filter(stage=row["stage"]).sort("time").collect()
    again = landed(out).sort("time")
    assert set(again["stage"]) == {row["stage"]}
    for name in ("time", "treating_pressure_psi", "slurry_rate_bpm", "proppant_conc_ppa"):
        assert again[name].to_list() == own[name].to_list(), name


def test_a_coil_run_is_written_too(measured_slice: Workspace, tmp_path: Path) -> None:
    out = tmp_path / "run.las"
    well = stages(measured_slice)[0]["well_id"]
    export(measured_slice, well, out, stage=None, run=1)
    again = landed(out)
    assert set(again["run"]) == {1} and again["depth_ft"].max() > 1000  # type: ignore[operator]


@pytest.mark.parametrize(
    ("name", "asked", "told"),
    [
        ("x.csv", {}, "ends in .xml"), ("x.xml", {"stage": 1}, "ends in .las"), ("x.las", {"stage": 99}, "it has: 1, 2, 3"),
        ("x.las", {"stage": 1, "run": 1}, "not both"),
    ],
)  # fmt: skip
def test_what_cannot_be_written_is_said(
    measured_slice: Workspace, tmp_path: Path, name: str, asked: dict[str, int], told: str
) -> None:
    well = stages(measured_slice)[0]["well_id"]
    with pytest.raises(HeelwardError, match=told):
        export(measured_slice, well, tmp_path / name, **{"stage": None, "run": None, **asked})
    assert not (tmp_path / name).exists()


def test_the_command_exists() -> None:
    assert "export" in {
        command.name or command.callback.__name__ for command in app.registered_commands if command.callback
    }
