"""The plan file: the next pad, its limits, and the candidate designs."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from pipeline.models.frames import DRAG_REDUCTION, PERF_CD
from pipeline.physics.constants import GAL_PER_BBL
from pipeline.workspace import Frozen

Quantity = Literal[
    "treating_pressure",
    "pressure_margin",
    "mean_pressure_margin",
    "pad_hours",
    "mill_out_hours",
    "cost_per_stage",
    "oil_180_days",
    "screen_out",
]


class NextPad(Frozen):
    """The pad. Depths in ft, gradients in psi/ft, diameters in in, densities in lbm/gal."""

    name: str
    wells: int = Field(ge=1, le=40)
    heel_md_ft: float = Field(gt=0, lt=40_000)
    lateral_ft: float = Field(gt=100, lt=40_000)
    tvd_ft: float = Field(gt=100, lt=30_000)
    casing_inside_in: float = Field(gt=2, lt=12)
    closure_gradient_psi_ft: float = Field(gt=0.3, lt=1.5)
    reservoir_gradient_psi_ft: float = Field(default=0.5, gt=0.1, lt=1.5)
    stress_spread_psi: float = Field(default=200.0, ge=0, lt=5_000)
    fluid_density_ppg: float = Field(default=8.4, gt=6, lt=20)
    formation: str | None = None
    operation_mode: str = "single well"
    nearest_spacing_ft: float | None = Field(default=None, gt=0)


class Limits(Frozen):
    """Limits of the programme and the equipment."""

    surface_pressure_psi: float = Field(gt=0, lt=30_000)
    plug_rating_psi: float = Field(default=10_000.0, gt=0, lt=30_000)
    horsepower: float | None = Field(default=None, gt=0)


class Candidate(Frozen):
    """One design."""

    name: str
    design: str | None = None
    frac_crew: str | None = None
    coil_crew: str | None = None
    stage_length_ft: float = Field(gt=10, lt=2_000)
    clusters: int = Field(ge=1, le=100)
    holes: int = Field(ge=1, le=1_000)
    hole_diameter_in: float = Field(gt=0.1, lt=1.5)
    rate_bpm: float = Field(gt=5, lt=200)
    fluid_bbl: float = Field(gt=0, lt=100_000)
    proppant_lbm: dict[str, float]
    drag_reduction: float = Field(default=DRAG_REDUCTION, ge=0, lt=0.95)
    discharge_coefficient: float = Field(default=PERF_CD, gt=0.3, le=1.0)
    plug: str | None = None
    plugs_per_wiper: int | None = Field(default=None, ge=1)

    @model_validator(mode="after")
    def _possible(self) -> Candidate:
        if self.holes < self.clusters:
            raise ValueError(
                f"'{self.name}' has {self.holes} holes in {self.clusters} clusters: at least one per cluster needed"
            )
        if not self.proppant_lbm or any(value < 0.0 for value in self.proppant_lbm.values()):
            raise ValueError(f"'{self.name}': proppant_lbm must give pounds by mesh, such as {{ mesh_100 = 150000 }}")
        if self.fluid_bbl * GAL_PER_BBL * 20.0 < sum(self.proppant_lbm.values()):
            raise ValueError(
                f"'{self.name}' carries more than 20 lb of proppant a gallon: fluid_bbl or proppant_lbm is wrong"
            )
        return self

    @property
    def proppant_total_lbm(self) -> float:
        """Proppant of a stage. [lbm]"""
        return sum(self.proppant_lbm.values())


class PlanFile(Frozen):
    """A plan."""

    pad: NextPad
    limits: Limits
    rank_by: Quantity = "pressure_margin"
    designs: list[Candidate] = Field(min_length=1, max_length=12)

    @model_validator(mode="after")
    def _named_apart(self) -> PlanFile:
        names = [design.name for design in self.designs]
        if len(set(names)) < len(names):
            raise ValueError("two designs have the same name")
        for design in self.designs:
            if design.stage_length_ft > self.pad.lateral_ft:
                raise ValueError(f"'{design.name}': stage_length_ft is longer than the lateral")
        return self
