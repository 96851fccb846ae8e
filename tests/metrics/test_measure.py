"""Measuring: what is stale, what follows from what, and that units at the door do not matter."""

from __future__ import annotations

import shutil
from pathlib import Path
from types import SimpleNamespace

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from pipeline import parallel, steps
from pipeline.lake import Lake
from pipeline.metrics.declare import Level, known
from pipeline.metrics.measure import PLUG_METRICS, STAGE_METRICS, measure, stale_wells
from pipeline.metrics.stage.measure import casing_volume_bbl
from pipeline.physics.hydraulics import pipe_capacity_bbl
from pipeline.schemas.lineage import FINDINGS, SOURCES
from pipeline.schemas.picks import PICKS
from pipeline.workspace import Workspace
from tests.builders import TREATMENT_MAP as FIELD_MAP
from tests.builders import WELLS, WELLS_MAP, put, record_csv, simple_stage, workspace
from tests.conftest import Fitted


def test_a_new_stage_makes_its_well_stale_and_no_other(slice_workspace: Workspace) -> None:
    steps.run_ingest(slice_workspace)
    first = steps.run_measure(slice_workspace)
    assert (first.wells, first.stages) == (1, 3)
    assert steps.run_measure(slice_workspace).wells == 0
    folder = slice_workspace.root / "landing" / "treatment" / "larkspoke"
    file = next(folder.glob("*stage 03.csv"))
    file.unlink()  # the original is gone, the rows stay
    steps.run_ingest(slice_workspace)
    assert stale_wells(steps.open_lake(slice_workspace)) == {}


def test_changed_tables_make_the_well_stale(slice_workspace: Workspace) -> None:
    steps.run_ingest(slice_workspace)
    steps.run_measure(slice_workspace)
    table = slice_workspace.root / "landing" / "tables" / "strings.csv"
    table.write_text(table.read_text(encoding="utf-8").replace("4.778", "4.67"), encoding="utf-8")
    steps.run_ingest(slice_workspace)
    lake = steps.open_lake(slice_workspace)
    assert stale_wells(lake) == {"saltgrass-1h": "table strings changed"}
    before = lake.scan(STAGE_METRICS).collect()["capacity_bbl"]
    steps.run_measure(slice_workspace)
    assert (lake.scan(STAGE_METRICS).collect()["capacity_bbl"] < before).all()


def test_rows_of_a_well_that_no_file_speaks_of_any_more_are_removed(slice_workspace: Workspace) -> None:
    steps.run_ingest(slice_workspace)
    steps.run_measure(slice_workspace)
    lake = steps.open_lake(slice_workspace)
    assert lake.scan(STAGE_METRICS).collect().height == 3
    ours = pl.col("lands").is_in(["treatment", "coil"])
    files = lake.scan_raw(SOURCES).collect()
    gone = files.with_columns(state=pl.when(ours).then(pl.lit("superseded")).otherwise(pl.col("state")))
    lake.replace(SOURCES, gone, {})
    steps.run_measure(slice_workspace)
    for table in (STAGE_METRICS, PLUG_METRICS, PICKS):
        assert lake.scan_raw(table).collect().is_empty(), table.name
    assert lake.scan_raw(FINDINGS).filter(step="measure", well_id="saltgrass-1h").collect().is_empty()
    assert steps.run_measure(slice_workspace).changed is False


METRIC_MAP = (
    FIELD_MAP.replace('"psi"', '"kPa"').replace('unit = "bpm"', 'unit = "m**3/min"').replace('unit = "ppa"', 'unit = "kg/m**3"')
    .replace("units_row = 2\n", "").replace('"set aside"', '"create"')
)  # fmt: skip


def test_a_metric_record_of_the_same_stage_gives_the_same_metrics(tmp_path: Path) -> None:
    stage = simple_stage(rate=79.3)  # no sample lies exactly on a threshold
    assert stage.conc_ppa is not None
    base = pl.DataFrame({"s": stage.time_s, "p": stage.pressure_psi, "q": stage.rate_bpm, "c": stage.conc_ppa})
    clock = (
        (pl.datetime(2025, 3, 1, 12) + pl.duration(seconds=pl.col("s"))).dt.strftime("%Y-%m-%d %H:%M:%S").alias("Time")
    )
    field = base.select(clock, Pressure="p", Rate="q", Conc="c").write_csv()
    metric = base.select(
        clock,
        Pressure=pl.col("p") * 6.894757293168,
        Rate=pl.col("q") * 0.158987294928,
        Conc=pl.col("c") * 119.826427317,
    ).write_csv()
    values = []
    for name, text, map_text in (
        ("field", field, FIELD_MAP.replace("units_row = 2\n", "").replace('"set aside"', '"create"')), ("metric", metric, METRIC_MAP),
    ):  # fmt: skip
        space = workspace(tmp_path / name, {"records": map_text}, {"Saltgrass 3H stage 1.csv": text})
        assert not steps.run_ingest(space).set_aside
        steps.run_measure(space)
        values.append(steps.open_lake(space).scan(STAGE_METRICS).collect().row(0, named=True))
    for key, value in values[0].items():
        if isinstance(value, float):
            assert values[1][key] == pytest.approx(value, rel=1e-6), key
        elif key not in ("fingerprint", "missing_because", "screenout_reason"):
            assert values[1][key] == value, key


def test_casing_volume_goes_section_by_section_and_is_unknown_where_a_part_is() -> None:
    sections = [
        {"string": "casing", "top_md_ft": 0.0, "bottom_md_ft": 8000.0, "inside_diameter_in": 4.892},
        {"string": "casing", "top_md_ft": 8000.0, "bottom_md_ft": 15000.0, "inside_diameter_in": 4.276},
    ]
    expected = pipe_capacity_bbl(4.892, 8000.0) + pipe_capacity_bbl(4.276, 2000.0)
    assert casing_volume_bbl(sections, 10000.0) == pytest.approx(expected)
    assert casing_volume_bbl(sections, 16000.0) is None
    assert casing_volume_bbl(sections[1:], 10000.0) is None
    assert casing_volume_bbl(sections, None) is None


def test_a_declared_metric_becomes_column_dictionary_and_fingerprint() -> None:
    level = Level[SimpleNamespace]("sample_metrics", "a sample", {"number": "a number"})

    @level.metric("psi", "twice the pressure", source="invented", version=3)
    def double_psi(view: SimpleNamespace) -> float:
        return 2.0 * known(view.p, "no pressure")

    table = level.table
    assert table.unit("double_psi") == "psi"
    assert table.schema.columns()["double_psi"].description == "twice the pressure"
    assert level.versions() == [("double_psi", 3)]
    assert level.measure({"well_id": "a", "number": 1}, SimpleNamespace(p=2.0))["double_psi"] == 4.0
    missing = level.measure({"well_id": "a", "number": 1}, SimpleNamespace(p=None))
    assert missing["double_psi"] is None
    assert missing["missing_because"] == "double_psi: no pressure"


def test_rows_of_one_well_share_the_fingerprint_of_its_picks(slice_workspace: Workspace) -> None:
    steps.run_ingest(slice_workspace)
    steps.run_measure(slice_workspace)
    lake = steps.open_lake(slice_workspace)
    marks = {*lake.scan(PICKS).collect()["fingerprint"], *lake.scan(STAGE_METRICS).collect()["fingerprint"]}
    assert len(marks) == 1


def test_several_processes_measure_what_one_does(
    fitted: Fitted, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    lake = Lake(str(tmp_path / "lake"))
    shutil.copytree(fitted.lake.root, lake.root)
    lake.replace(PICKS, PICKS.empty(), {})
    monkeypatch.setattr(parallel, "_cores", lambda: 2)
    monkeypatch.setattr("pipeline.metrics.measure.TASKS_PER_CORE", 1)
    report = measure(lake, fitted.workspace.settings.time_zone)
    assert (report.wells, report.stages) == (20, 355)
    for table in (STAGE_METRICS, PLUG_METRICS, PICKS):
        one, several = (which.scan(table).collect().sort(table.key) for which in (fitted.lake, lake))
        assert_frame_equal(one, several)


def test_changed_code_of_findings_pump_downs_or_coil_paths_makes_wells_stale(
    slice_workspace: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    from pipeline.metrics import measure as measuring
    from pipeline.metrics.pad import measure as measure_pads

    steps.run_ingest(slice_workspace)
    assert steps.run_measure(slice_workspace).wells == 1
    assert not steps.run_measure(slice_workspace).changed
    for module in (measuring, measure_pads):
        monkeypatch.setattr(module, "source_digest", lambda *names: "as if a line of them had changed")
    again = steps.run_measure(slice_workspace)
    assert (again.wells, again.pads) == (1, 1)


def test_two_stages_of_a_well_that_pump_at_once_are_told(tmp_path: Path) -> None:
    files: dict[str, str | bytes] = {
        "tables/wells.csv": WELLS, "Saltgrass 3H stage 1.csv": record_csv(1200), "Saltgrass 3H stage 2.csv": record_csv(1200),
        "Saltgrass 3H stage 3.csv": record_csv(1200, "2025-03-02 12:00:00"),
    }  # fmt: skip
    space = workspace(tmp_path, {"records": FIELD_MAP, "wells": WELLS_MAP}, files)
    put(space.root, "Saltgrass 3H stage 2.csv", record_csv(1200).replace("5000", "5001"))
    steps.run_ingest(space)
    steps.run_measure(space)
    told = steps.open_lake(space).scan(FINDINGS).filter(kind="overlapping_records").collect()
    assert [(row["number"], "as stage 1 of the well" in row["message"]) for row in told.to_dicts()] == [(2, True)]
