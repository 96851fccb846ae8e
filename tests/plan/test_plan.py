"""Plans: the better design first where the data allow it, a refusal with its reason where they do not."""

from __future__ import annotations

import tomllib
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from pipeline import resources, steps
from pipeline.errors import HeelwardError
from pipeline.lake import Lake
from pipeline.physics.entry import evenness
from pipeline.physics.friction import perforation_friction_psi
from pipeline.plan.compare import Planned
from pipeline.plan.evaluate import Habits, Line, _physics, _sums, job_of, stage_count
from pipeline.plan.file import PlanFile
from pipeline.plan.store import record_plan
from pipeline.schemas.fitted import MODEL_CARDS, PLANNED, TRIALS
from pipeline.workspace import Workspace, parse_toml
from tests.conftest import Fitted

SAMPLE = "next_pad.toml"


def text() -> str:
    return (resources.folder("sample_lake") / SAMPLE).read_text(encoding="utf-8")


def planned(fitted: Fitted, tmp_path: Path, content: str, **more: Any) -> Planned:
    path = tmp_path / "plan.toml"
    path.write_text(content, encoding="utf-8")
    return steps.run_plan(fitted.workspace, path, **more)


def lines(found: Planned) -> dict[tuple[str, str], Line]:
    return {(line.design, line.quantity): line for line in found.lines}


TIGHT, WIDE = "tight with Alder", "wide with Alder"


def test_the_planted_easier_design_comes_first_by_pressure_margin(fitted: Fitted, tmp_path: Path) -> None:
    found = planned(fitted, tmp_path, text())
    assert found.ranking.order == [WIDE, TIGHT]
    of = lines(found)
    for design in (TIGHT, WIDE):
        model, physics = of[design, "treating_pressure"], of[design, "physics_surface_toe"]
        assert model.value is not None and model.low is not None and model.high is not None
        assert physics.value is not None
        assert model.low < model.value < model.high
        assert abs(model.value - physics.value) < 900.0
    assert of[TIGHT, "stages_per_well"].value == 15
    assert (of[WIDE, "pad_hours"].value or 0.0) < (of[TIGHT, "pad_hours"].value or 0.0)
    assert (of[WIDE, "plug_margin"].value or 0.0) > 0.0


def test_what_lies_outside_the_data_has_no_value_and_says_where(fitted: Fitted, tmp_path: Path) -> None:
    found = planned(fitted, tmp_path, text().replace("tvd_ft = 9250", "tvd_ft = 12500"))
    pressure = lines(found)[WIDE, "treating_pressure"]
    assert pressure.value is None
    assert "tvd of 12,500 ft (data: 8,961 ft to 9,523 ft)" in pressure.note
    assert found.ranking.order == []
    assert found.ranking.verdict.startswith("Not ranked by pressure margin")
    assert lines(found)[WIDE, "physics_surface_toe"].value is not None  # physics needs no data


def test_a_crew_seen_on_one_pad_only_is_refused(fitted: Fitted, tmp_path: Path) -> None:
    found = planned(fitted, tmp_path, text().replace("Crew Alder", "Crew Dogwood"))
    assert "is on one pad only: not separable from the pad effect" in lines(found)[WIDE, "treating_pressure"].note
    assert found.ranking.order == []


def test_designs_that_nothing_tells_apart_are_not_ranked(fitted: Fitted, tmp_path: Path) -> None:
    # planted: tight wells give 8 % more oil, among wells that scatter by 10 %; said only where the data show it
    found = planned(fitted, tmp_path, text().replace('"pressure_margin"', '"oil_180_days"'))
    assert found.ranking.order in ([], [TIGHT, WIDE])
    found = planned(fitted, tmp_path, text().replace('"pressure_margin"', '"mill_out_hours"'))
    assert found.ranking.order == [WIDE, TIGHT]  # longer stages, fewer plugs: the sum over a well decides
    assert "mill minutes per plug, summed over a well, differs by" in found.ranking.verdict


def test_the_better_coil_crew_comes_first_by_mill_out_hours(fitted: Fitted, tmp_path: Path) -> None:
    content = text().replace('"pressure_margin"', '"mill_out_hours"')
    head, tight, wide = content.split("[[designs]]")
    both = [wide, wide.replace("wide with Alder", "wide with Gannet").replace("Coil Finch", "Coil Gannet")]
    found = planned(fitted, tmp_path, head + "".join("[[designs]]" + part for part in both))
    assert found.ranking.order == ["wide with Alder", "wide with Gannet"]
    assert tight


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (("rate_bpm = 88", "rate_bpn = 88"), "rate_bpn: unknown key"),
        (("rate_bpm = 88\n", ""), "rate_bpm: Field required"),
        (("rate_bpm = 88", "rate_bpm = -5"), "designs.0.rate_bpm"),
        (("wells = 2", 'wells = "two"'), "pad.wells"),
        (("holes = 44", "holes = 4"), "4 holes in 11 clusters"),
        (("fluid_bbl = 5200", "fluid_bbl = 52"), "more than 20 lb of proppant a gallon"),
        (('name = "wide with Alder"', 'name = "tight with Alder"'), "same name"),
        (("stage_length_ft = 240", "stage_length_ft = 1999"), None),
        (('rank_by = "pressure_margin"', 'rank_by = "luck"'), "rank_by"),
        (("[limits]", "[limit]"), "limit: unknown key; known keys: designs, limits, pad, rank_by"),
    ],
)
def test_a_wrong_plan_names_the_key_and_the_mend(tmp_path: Path, change: tuple[str, str], says: str | None) -> None:
    path = tmp_path / "plan.toml"
    path.write_text(text().replace(*change), encoding="utf-8")
    if says is None:
        assert parse_toml(path, PlanFile).designs[1].stage_length_ft == 1999
        return
    with pytest.raises(HeelwardError) as error:
        parse_toml(path, PlanFile)
    assert "plan.toml" in str(error.value)
    assert says in str(error.value)


def test_which_trial_teaches_most(fitted: Fitted, tmp_path: Path) -> None:
    found = planned(fitted, tmp_path, text(), teach="designs_pressure").taught["designs_pressure"]
    assert not isinstance(found, str)
    assert sorted(found[0].wells) == ["tight", "wide"]  # both on one pad take the pad out of the difference
    assert found[0].shrinks_to <= min(trial.shrinks_to for trial in found)
    assert 0.3 < found[0].shrinks_to < 1.0
    with pytest.raises(HeelwardError, match="known: "):
        planned(fitted, tmp_path, text(), teach="luck")
    same = text().replace('design = "wide"', 'design = "tight"')
    assert isinstance(planned(fitted, tmp_path, same, teach="designs_pressure").taught["designs_pressure"], str)


def test_a_plan_page_is_inert_and_needs_no_network(fitted: Fitted, tmp_path: Path) -> None:
    hostile = text().replace("wide with Alder", "<script>alert(1)</script>").replace("Juniper Bench", "=cmd()<b>")
    out = tmp_path / "plan.html"
    planned(fitted, tmp_path, hostile, teach="designs_pressure", out=out)
    page = out.read_text(encoding="utf-8")
    assert "<script" not in page
    assert "<b>" not in page
    assert "&lt;script&gt;" in page
    assert "http" not in page.replace("http-equiv", "").replace("http://www.w3.org", "").replace(
        "https://www.w3.org", ""
    )
    assert "Caution." in page


def test_stage_count_and_evenness_follow_the_plan() -> None:
    plan = PlanFile.model_validate(__import__("tomllib").loads(text()))
    assert [stage_count(plan.pad, design) for design in plan.designs] == [15, 12]
    import numpy as np

    assert evenness(np.array([5.0, 5.0, 5.0])) == 0.0


def test_the_plan_in_the_lake_is_the_plan_of_the_command(fitted: Fitted, tmp_path: Path) -> None:
    found = lines(planned(fitted, tmp_path, text()))
    kept = fitted.lake.scan(PLANNED).collect()
    assert {(row["design"], row["figure"]) for row in kept.iter_rows(named=True)} == set(found)
    for row in kept.iter_rows(named=True):
        assert row["value"] == found[row["design"], row["figure"]].value
        assert row["verdict"].startswith(f"{WIDE} comes first by pressure margin")
    trials = fitted.lake.scan(TRIALS).collect()
    assert set(trials["comparison"]) == {"designs_pressure", "designs_hours"}
    assert trials["half_width"].null_count() == 0
    assert not record_plan(fitted.lake, fitted.workspace.plan, {})  # nothing changed: the tables are not needed


@pytest.mark.parametrize(("content", "told"), [(None, "no such file"), ('rank_by = "beauty"\n', "rank_by")])
def test_a_plan_that_cannot_be_used_keeps_no_figures_and_is_told(
    fitted: Fitted, tmp_path: Path, content: str | None, told: str
) -> None:
    lake = Lake(str(tmp_path / "lake"))
    lake.replace(PLANNED, fitted.lake.scan(PLANNED).collect(), {})
    lake.replace(TRIALS, fitted.lake.scan(TRIALS).collect(), {})
    lake.replace(MODEL_CARDS, fitted.lake.scan(MODEL_CARDS).collect(), {})
    path = tmp_path / "plan.toml"
    if content is not None:
        path.write_text(content, encoding="utf-8")
    with pytest.raises(HeelwardError, match=told):
        record_plan(lake, path, {})
    assert lake.scan(PLANNED).collect().is_empty()
    assert lake.scan(TRIALS).collect().is_empty()


def test_a_bad_plan_keeps_the_report_from_nothing(slice_workspace: Workspace) -> None:
    (slice_workspace.root / SAMPLE).unlink()
    done = steps.refresh(slice_workspace)
    assert done.fitted.plan_error is not None and "no such file" in done.fitted.plan_error
    assert "No plan for the next pad" in done.report.path.read_text(encoding="utf-8")


def test_hours_and_cost_of_a_pad_are_summed_by_hand() -> None:
    """Two wells of ten stages: 20 pump times, 18 + 1 transitions, 9 plugs, two wiper trips after every fourth plug."""
    pad = SimpleNamespace(wells=2)
    design = SimpleNamespace(name="d", plugs_per_wiper=4)
    given = {
        "pump_time": Line("d", "pump_time", 120.0, 90.0, 150.0, "min", "model", ""),
        "fleet_gap": Line("d", "fleet_gap", 60.0, -30.0, 90.0, "min", "model", ""),
        "mill_minutes": Line("d", "mill_minutes", 10.0, None, 20.0, "min", "model", ""),
        "cost_per_stage": Line("d", "cost_per_stage", 100.0, 80.0, 120.0, "1000 USD", "model", ""),
    }
    habits = Habits(90.0, 5.0, 20.0, 600.0, 3.0)
    pad_hours, milling, cost = _sums(SimpleNamespace(pad=pad), design, 10, habits, given)  # type: ignore[arg-type]
    assert pad_hours.value == pytest.approx(20 * 2.0 + 19 * 1.0)
    assert (pad_hours.low, pad_hours.high) == (pytest.approx(20 * 1.5), pytest.approx(20 * 2.5 + 19 * 1.5))
    assert milling.value == pytest.approx(9 * 10.0 / 60.0 + 2 * 1.5 + 20.0)
    assert (milling.low, milling.high) == (None, pytest.approx(9 * 20.0 / 60.0 + 23.0))
    assert (cost.value, cost.low, cost.high) == (2000.0, 1600.0, 2400.0)
    unknown = _sums(SimpleNamespace(pad=pad), design, 10, Habits(None, None, None, None, 3.0), given)  # type: ignore[arg-type]
    assert (unknown[1].value, unknown[1].note) == (None, "no mill-out with wiper trips in the records")


def test_a_future_stage_is_described_as_the_models_were_fitted() -> None:
    """Third of ten stages of 200 ft on a 9,000 ft lateral behind a heel at 8,000 ft, two wells; by hand."""
    plan = PlanFile.model_validate(tomllib.loads(text()))
    pad = plan.pad.model_copy(update={"heel_md_ft": 8000.0, "lateral_ft": 9000.0, "wells": 2})
    design = plan.designs[0].model_copy(update={"stage_length_ft": 200.0, "plugs_per_wiper": 5})
    job = job_of(pad, design, Habits(None, None, None, None, 7.0), 3, 10)
    assert job["bottom_perf_ft"] == job["set_depth_ft"] == 17_000.0 - 2 * 200.0
    assert job["position_fraction"] == pytest.approx(400.0 / 9000.0)
    assert (job["pad_order"], job["mill_order"], job["quarters"]) == (10.0, 8.0, 7.0)
    assert job["plugs_since_wiper"] == 2.0
    assert job["depth_debris"] == pytest.approx(16.6 * 2.0)
    assert job["proppant_lbm_ft"] == pytest.approx(design.proppant_total_lbm * 10 / 9000.0)
    assert (
        job_of(pad, design.model_copy(update={"plugs_per_wiper": None}), Habits(None, 4.0, None, None, 7.0), 3, 10)[
            "plugs_since_wiper"
        ]
        == 1.5
    )


def test_the_spread_of_entry_is_that_of_the_stress_between_the_outer_clusters() -> None:
    """Two clusters, stress 400 psi apart: their rates solve k*(q1**2 - q2**2) = 400 with q1 + q2 = the rate."""
    plan = parse_toml(resources.folder("sample_lake") / SAMPLE, PlanFile)
    design = plan.designs[0].model_copy(update={"clusters": 2})
    pad = plan.pad.model_copy(update={"stress_spread_psi": 400.0})
    (line,) = [row for row in _physics(plan.model_copy(update={"pad": pad}), design) if row.quantity == "entry_spread"]
    k = perforation_friction_psi(
        1.0, pad.fluid_density_ppg, design.holes / 2, design.hole_diameter_in, design.discharge_coefficient
    )
    difference = 400.0 / (k * design.rate_bpm)  # (q1 - q2)*(q1 + q2)*k = 400
    assert line.value == pytest.approx(difference / design.rate_bpm, rel=1e-6)  # half the difference over the mean
