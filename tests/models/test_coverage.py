"""Intervals hold over many campaigns with planted effects, and nothing is found where nothing was planted."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest

from pipeline.models import held_out
from pipeline.models.clustered import fit_by_pad
from pipeline.models.columns import predictors
from pipeline.models.conformal import grouped_coverage
from pipeline.models.design_matrix import design_matrix
from pipeline.models.fitters import Linear
from pipeline.models.grouped_cv import fit_model
from pipeline.models.held_out import out_of_pad
from pipeline.models.specs import CompareSpec, ModelSpec
from pipeline.models.training import prepare

CAMPAIGNS, PADS = 120, 40
MODEL = ModelSpec("t", "treating pressure", "at_rate_pressure_psi", "stage", ("design", "tvd_ft", "stage"))
COMPARISON = CompareSpec("crews", "at_rate_pressure_psi", "stage", "frac_crew", ("tvd_ft", "stage"))
DESIGN_PSI, DEPTH_PSI = 300.0, 40.0
CREWS = {"A": 0.0, "B": 80.0, "C": -60.0}


def campaign(seed: int, *, design: float = DESIGN_PSI, crews: dict[str, float] | None = None) -> pl.DataFrame:
    """Stages of 40 pads: a design effect, a trend with depth, crews, pads and wells that differ, noise."""
    rng = np.random.default_rng(seed)
    crew_effect = CREWS if crews is None else crews
    rows = []
    for pad in range(PADS):
        shift, tvd = rng.normal(0.0, 120.0), float(rng.uniform(8500.0, 9800.0))
        for well in range(2):
            own = rng.normal(0.0, 60.0)
            crew = str(rng.choice(list(crew_effect)))
            wide = bool(rng.random() < 0.5)
            for stage in range(1, 6):
                pressure = 9000.0 + shift + own + DEPTH_PSI * (tvd - 9000.0) / 100.0 + (design if wide else 0.0)
                pressure += crew_effect[crew] + 15.0 * stage + rng.normal(0.0, 80.0)
                rows.append(
                    {
                        "well_id": f"{pad}-{well}", "pad": f"p{pad:02d}", "stage": stage, "frac_crew": crew,
                        "design": "wide" if wide else "tight", "tvd_ft": tvd, "at_rate_pressure_psi": pressure,
                    }
                )  # fmt: skip
    return pl.DataFrame(rows)


def monte_carlo(hits: list[float]) -> tuple[float, float]:
    """Mean coverage less and plus two of its own standard errors."""
    found = np.asarray(hits)
    error = found.std(ddof=1) / np.sqrt(found.size)
    return float(found.mean() - 2.0 * error), float(found.mean() + 2.0 * error)


def test_ninety_per_cent_intervals_of_effects_hold_over_many_campaigns() -> None:
    hits, widths = [], []
    for seed in range(CAMPAIGNS):
        table = prepare(campaign(seed), MODEL)
        design, names, _ = design_matrix(table.used, table.columns)
        fitted = fit_by_pad(design, table.outcome, list(table.pads))
        terms = [fitted.contrast(row) for row in np.eye(len(names))]
        estimate, reach = [term.estimate for term in terms], [term.reach(0.9) for term in terms]
        truth = {"design: wide": DESIGN_PSI, "tvd_ft": DEPTH_PSI, "stage": 15.0}
        hits += [float(abs(estimate[i] - truth[name]) <= reach[i]) for i, name in enumerate(names) if name in truth]
        widths.append(2.0 * reach[names.index("design: wide")])
    low, high = monte_carlo(hits)
    print(f"effects: {np.mean(hits):.3f} ({low:.3f} to {high:.3f}), mean width {np.mean(widths):.0f} psi")
    assert low >= 0.86 and high <= 0.94


@pytest.mark.long
def test_ninety_per_cent_predictions_hold_on_pads_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(held_out, "OUTER_FOLDS", 4)  # the rule of the interval is tried, not the model
    coverage, bounds = [], []
    for seed in range(CAMPAIGNS):
        table = prepare(campaign(seed), MODEL)
        predicted, _ = out_of_pad(Linear(table))
        share, bound = grouped_coverage(np.abs(table.outcome - predicted), table.pads, 0.1)
        coverage.append(share)
        bounds.append(bound)
    low, high = monte_carlo(coverage)
    print(f"predictions: {np.mean(coverage):.3f} ({low:.3f} to {high:.3f}), half width {np.mean(bounds):.0f} psi")
    assert low >= 0.86 and high <= 0.94


def test_shuffling_outcomes_between_pads_leaves_no_skill() -> None:
    skills = []
    for seed in range(8):
        frame = campaign(seed)
        pads = frame["pad"].unique(maintain_order=True).to_list()
        other = dict(zip(pads, np.random.default_rng(seed).permutation(pads), strict=True))
        moved = frame.select("pad", "well_id", "stage", "at_rate_pressure_psi").with_columns(
            pad=pl.col("pad").replace_strict(other),
            well_id=pl.col("pad").replace_strict(other) + pl.lit("-") + pl.col("well_id").str.split("-").list.last(),
        )
        # a pad's outcomes go to another pad, whose designs and depths they had nothing to do with
        renamed = frame.drop("at_rate_pressure_psi").with_columns(
            key=pl.col("pad") + pl.lit("-") + pl.col("well_id").str.split("-").list.last()
        )
        joined = renamed.join(
            moved.rename({"well_id": "key"}).drop("pad"), on=["key", "stage"], how="inner"
        ).drop("key")  # fmt: skip
        assert joined.height == frame.height
        fitted = fit_model(joined, MODEL)
        assert fitted is not None
        skills.append(fitted.card["skill"])
    assert np.mean(skills) < 2.0 * np.std(skills) / np.sqrt(len(skills)) + 0.01


def test_declared_predictors_of_the_test_are_known_before() -> None:
    assert predictors(list(MODEL.predictors))
