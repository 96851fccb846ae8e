"""Proportions against their limits, what drives a change, and what is kept out of a comparison."""

from __future__ import annotations

from typing import Any

import numpy as np
import polars as pl
import pytest

from pipeline import queries
from pipeline.models.compare import compare
from pipeline.models.quarters import changes, proportions, quarter_means
from pipeline.models.specs import CompareSpec
from pipeline.schemas.fitted import CHANGES, PROPORTIONS
from tests.builders import query_on
from tests.conftest import Fitted


def crews(events: dict[str, tuple[int, int]]) -> pl.DataFrame:
    """Return stages of crews, of which k of n have the event, on five pads by turns."""
    rows = [
        {"frac_crew": crew, "pad": f"p{i % 5}", "well_id": "w", "screenout": float(i < k)}
        for crew, (k, n) in events.items()
        for i in range(n)
    ]
    return pl.DataFrame(rows)


def title(rows: list[dict[str, object]]) -> str:
    frame = pl.DataFrame(rows, schema=PROPORTIONS.dtypes)
    return str(query_on("screen_outs_title", {"proportions": frame})["title"][0])


def test_a_crew_beyond_chance_is_named_and_one_within_is_not() -> None:
    alike = proportions(crews({"A": (5, 100), "B": (6, 100), "C": (4, 90)}), "screenout")
    assert title(alike) == "No clear difference between 3 crews around 5.2 % screen-outs"
    usual = {f"crew {i:02d}": (2 + i % 3, 60) for i in range(14)}
    apart = proportions(crews({**usual, "E": (40, 100)}), "screenout")
    assert title(apart).startswith("E beyond chance around")
    named = {row["level"]: row for row in apart if row["level"] != "limits"}
    assert named["E"]["share"] > named["E"]["high_95"]
    assert named["E"]["dispersion"] == 1.0  # its own pads are alike
    assert named["E"]["p_value"] < 1e-6
    few = {row["level"]: row for row in proportions(crews({"A": (1, 10), "B": (5, 300)}), "screenout")}
    assert few["A"]["high_95"] > few["B"]["high_95"]  # fewer stages, wider limits


def test_no_event_and_one_crew_give_nothing_to_compare() -> None:
    assert proportions(crews({"A": (0, 50), "B": (0, 50)}), "screenout") == []
    assert proportions(crews({"A": (3, 50)}), "screenout") == []
    assert title([]) == "No proportion of screen-outs to compare yet"


def jobs(rows: list[tuple[str, str, float, int]]) -> pl.DataFrame:
    return pl.DataFrame(
        [
            {"quarter": q, "pad": f"{q} {i % 3}", "design": d, "formation": "x", "mill_min": m}
            for q, d, m, n in rows
            for i in range(n)
        ]
    )


def test_a_change_of_mix_is_no_change_of_performance() -> None:
    (row,) = changes(
        jobs([("2025Q1", "a", 10.0, 8), ("2025Q1", "b", 20.0, 2), ("2025Q2", "a", 10.0, 2), ("2025Q2", "b", 20.0, 8)]),
        "mill_min",
    )
    assert row["change"] == pytest.approx(6.0)
    assert row["mix"] == pytest.approx(6.0)
    assert row["performance"] == pytest.approx(0.0)
    (row,) = changes(jobs([("2025Q1", "a", 10.0, 5), ("2025Q2", "a", 13.0, 5)]), "mill_min")
    assert (row["mix"], row["performance"]) == pytest.approx((0.0, 3.0))


def test_jobs_never_seen_before_are_not_split() -> None:
    (row,) = changes(jobs([("2025Q1", "a", 10.0, 5), ("2025Q2", "b", 13.0, 5)]), "mill_min")
    assert row["change"] == pytest.approx(3.0)
    assert row["mix"] is None
    frame = pl.DataFrame([row], schema=CHANGES.dtypes)
    said = query_on("quarter_changes_title", {"changes": frame}, {"metric": "mill_min"})["title"][0]
    assert "cannot be split" in said


def test_the_title_of_a_change_follows_the_data() -> None:
    rising = [(f"203{i // 4}Q{i % 4 + 1}", "a", 10.0 + i, 5) for i in range(9)]
    for rows, word in (
        (rising, "a trend"),
        ([(q, d, 10.0 + (i % 2), n) for i, (q, d, _, n) in enumerate(rising)], "no clear trend"),
    ):
        frame = pl.DataFrame(changes(jobs(rows), "mill_min"), schema=CHANGES.dtypes)
        said = query_on("quarter_changes_title", {"changes": frame}, {"metric": "mill_min"})["title"][0]
        assert word in said
    assert "+4.5 min" in query_on(
        "quarter_changes_title", {"changes": pl.DataFrame(changes(jobs(rising), "mill_min"), schema=CHANGES.dtypes)},
        {"metric": "mill_min"},
    )["title"][0]  # fmt: skip


DESIGNS = CompareSpec("designs", "at_rate_pressure_psi", "stage", "design", ("frac_crew", "tvd_ft"))


def stages(*, own_crew: bool, lost: int = 0) -> pl.DataFrame:
    """Two designs on twelve pads; with `own_crew` one crew always pumps one of them."""
    rng = np.random.default_rng(4)
    rows = []
    for pad in range(12):
        for well in range(2):
            design = "wide" if well else "tight"
            crew = ("B" if well else "A") if own_crew else ("A", "B")[(pad + well) % 2]
            rows += [
                {
                    "pad": f"p{pad}", "well_id": f"{pad}-{well}", "stage": stage, "design": design, "frac_crew": crew,
                    "tvd_ft": 9000.0 + 40.0 * pad, "at_rate_pressure_psi": 9000.0 - 400.0 * well + rng.normal(0.0, 60.0),
                }
                for stage in range(1, 7)
            ]  # fmt: skip
    frame = pl.DataFrame(rows)
    hard = (pl.col("design") == "tight") & (pl.int_range(pl.len()) < lost)
    return frame.with_columns(pl.when(~hard).then("at_rate_pressure_psi").alias("at_rate_pressure_psi"))


def test_a_design_always_pumped_by_one_crew_is_not_separable() -> None:
    rows = {row["level"]: row for row in compare(stages(own_crew=True), DESIGNS)}
    assert all(row["effect"] is None and row["rank_low"] is None for row in rows.values())
    assert all("not separable" in row["note"] for row in rows.values())
    free = {row["level"]: row for row in compare(stages(own_crew=False), DESIGNS)}
    assert free["wide"]["effect"] == pytest.approx(-200.0, abs=30.0)
    assert (free["wide"]["rank_low"], free["wide"]["rank_high"]) == (1, 1)
    assert free["wide"]["bound_low"] is None  # nothing was excluded


def test_excluded_rows_bound_the_effect() -> None:
    rows = {row["level"]: row for row in compare(stages(own_crew=False, lost=20), DESIGNS)}
    wide = rows["wide"]
    assert rows["tight"]["rows_excluded"] > 5
    assert wide["bound_low"] < wide["effect"] < wide["bound_high"]


def test_stages_cut_short_are_kept_and_their_effect_is_shown() -> None:
    frame = stages(own_crew=False).with_columns(
        cut_short=(pl.col("design") == "wide") & (pl.col("stage") == 6), screenout=pl.lit(0.0)
    )
    cut = frame.with_columns(
        pl.when(pl.col("cut_short")).then(pl.col("at_rate_pressure_psi") + 900.0).otherwise("at_rate_pressure_psi")
        .alias("at_rate_pressure_psi")
    )  # fmt: skip
    wide = {row["level"]: row for row in compare(cut, DESIGNS)}["wide"]
    assert wide["rows"] == 72
    assert wide["effect"] == pytest.approx(wide["effect_uncut"] + 75.0, abs=20.0)


def test_the_campaigns_own_choke_is_kept_out_with_its_reason(fitted: Fitted) -> None:
    found = queries.run(queries.connect(fitted.lake), queries.load("production_excluded")).frame
    assert found.rows() == [("Otter Bend", "Otter Bend 1H", "different choke")]


def test_a_crew_alone_is_told_which_job_would_separate_it(fitted: Fitted) -> None:
    from pipeline.schemas.fitted import COMPARISONS

    alone = fitted.lake.scan(COMPARISONS).filter(pl.col("level") == "Crew Dogwood").collect()
    assert alone.height == 2
    assert alone["note"].str.contains("a pad shared with Crew .* would separate").all()


def test_a_quarters_limits_come_from_how_pads_differ() -> None:
    frame = pl.DataFrame(
        {
            "quarter": ["2025Q1"] * 4 + ["2025Q2"] * 2, "pad": ["a", "a", "b", "b", "c", "c"],
            "well_id": list("pqrstu"), "mill_min": [9.0, 11.0, 11.0, 13.0, 13.0, 15.0],
        }
    )  # fmt: skip
    first, second = quarter_means(frame, "mill_min")
    assert (first["value"], first["low"], first["change"]) == (11.0, None, None)  # two pads so far tell too little
    # pads' means 10, 12, 14: standard deviation 2; Student's t, two degrees of freedom, 97.5 %: 4.3027 (printed tables)
    assert second["value"] == 14.0
    assert second["high"] - second["value"] == pytest.approx(4.3027 * 2.0, rel=1e-4)
    assert second["change"] == pytest.approx(3.0)
    assert second["change_high"] - 3.0 == pytest.approx(4.3027 * 2.0 * (1.0 + 1.0 / 2.0) ** 0.5, rel=1e-4)


def test_quarter_means_follow_the_rows_they_are_made_of() -> None:
    frame = pl.DataFrame({"quarter": ["2025Q1"] * 2, "pad": ["a", "b"], "well_id": ["p", "q"], "mill_min": [9.0, None]})
    rows = quarter_means(frame, "mill_min")
    assert [(row["rows"], row["pads"], row["value"]) for row in rows] == [(1, 1, 9.0)]
    assert rows[0]["inputs"] != quarter_means(frame.with_columns(mill_min=pl.lit(8.0)), "mill_min")[0]["inputs"]


def test_a_p_value_of_a_trend_needs_eight_quarters() -> None:
    def last(quarters: int) -> dict[str, Any]:
        frame = pl.DataFrame(
            {
                "quarter": [f"{2020 + i // 4}Q{i % 4 + 1}" for i in range(quarters)], "design": ["d"] * quarters,
                "formation": ["f"] * quarters, "pad": ["p"] * quarters, "mill_min": [10.0 - 0.5 * i for i in range(quarters)],
            }
        )  # fmt: skip
        return changes(frame, "mill_min")[-1]

    assert last(7)["p_trend"] is None
    assert last(8)["p_trend"] < 0.01
