"""Inputs of the stage metrics: a stage's effective picks with its samples, selected and weighted once."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import cached_property
from typing import Any

import numpy as np

from pipeline.metrics.declare import Level, Missing
from pipeline.physics.fluids import clean_fraction, slurry_density_ppg
from pipeline.physics.hydraulics import hydraulic_horsepower
from pipeline.picks.arrays import (
    filled,
    integral,
    percentile,
    pumped_in,
    sample_seconds,
    weighted_mean,
    weighted_quantiles,
)
from pipeline.picks.stage import StagePicks
from pipeline.picks.types import Array, StageDesign

AT_RATE = 0.9
"""Share of the design rate from which a sample is at rate. [1]"""

STAGE: Level[StageView] = Level("stage_metrics", "a measured stage", {"stage": "stage, counted from the toe"})
NO_INJECTION = "no sustained rate at the main rate in the record"


@dataclass(frozen=True)
class Below:
    """The shut-in stage below: the pressure under the plug.

    Attributes
    ----------
    shut_in : datetime
        UTC.
    isip_psi : float
        [psi]
    decline_psi_rt_s : float
        Decline of its falloff. [psi per square root of a second]
    """

    shut_in: datetime
    isip_psi: float
    decline_psi_rt_s: float


@dataclass(frozen=True)
class Surroundings:
    """Data from the rest of the well that a stage's metrics need; None if unknown.

    Attributes
    ----------
    wave_speed_ft_s, wave_speed_error_ft_s : float, optional
        Weighted median over the well's other stages of 4L/T, and the error with which it predicts a stage. [ft/s]
    below : Below, optional
    plug_depth_ft, plug_rating_psi : float, optional
        Of the plug that was set for the stage. [ft, psi]
    """

    wave_speed_ft_s: float | None = None
    wave_speed_error_ft_s: float | None = None
    below: Below | None = None
    plug_depth_ft: float | None = None
    plug_rating_psi: float | None = None


@dataclass
class StageView:
    """Inputs of the stage metrics.

    Attributes
    ----------
    picks : StagePicks
    design : StageDesign
    row : dict
        The stage's row of the stages table; empty if there is none.
    origin : datetime
        Time of the record's first sample, UTC.
    around : Surroundings
        Data from the rest of the well.
    units_in_doubt : bool
        Whether physics contradicts the record: the unit of a channel, or that it is one stage.
    """

    picks: StagePicks
    design: StageDesign
    row: dict[str, Any]
    origin: datetime
    around: Surroundings = field(default_factory=Surroundings)
    units_in_doubt: bool = False

    @cached_property
    def injection(self) -> slice | None:
        """Samples of the injection, including the first shut-in sample."""
        line = self.picks.timeline
        if line.start is None:
            return None
        stop = line.record.time_s.size if line.end is None else line.end + 1
        return slice(line.start, stop)

    @cached_property
    def time_s(self) -> Array:
        """Seconds of the injection's samples."""
        return self.picks.timeline.record.time_s[self.injection or slice(0, 0)]

    @cached_property
    def rate(self) -> Array:
        """Slurry rate over the injection. [bbl/min]"""
        return self.picks.timeline.record.rate_bpm[self.injection or slice(0, 0)]

    @cached_property
    def pressure(self) -> Array:
        """Treating pressure over the injection. [psi]"""
        return self.picks.timeline.record.pressure_psi[self.injection or slice(0, 0)]

    @cached_property
    def conc(self) -> Array | None:
        """Concentration over the injection. [ppa]"""
        conc = self.picks.timeline.record.conc_ppa
        return None if conc is None else conc[self.injection or slice(0, 0)]

    @cached_property
    def clean(self) -> Array | None:
        """Clean rate: recorded, or from slurry rate and concentration. [bbl/min]"""
        recorded = self.picks.timeline.record.clean_bpm
        if recorded is not None:
            return recorded[self.injection or slice(0, 0)]
        if self.conc is None:
            return None
        return np.asarray(self.rate * clean_fraction(self.conc, self.design.absolute_volume_gal_lbm))

    @cached_property
    def reducer(self) -> Array | None:
        """Friction reducer loading over the injection. [gpt]"""
        reducer = self.picks.timeline.record.reducer_gpt
        return None if reducer is None else reducer[self.injection or slice(0, 0)]

    @cached_property
    def downhole(self) -> Array | None:
        """Pressure at a gauge in the well over the injection. [psi]"""
        downhole = self.picks.timeline.record.downhole_psi
        return None if downhole is None else downhole[self.injection or slice(0, 0)]

    @cached_property
    def pumped_in(self) -> tuple[Array, Array]:
        """Volume [bbl], and concentration times volume [ppa*bbl], pumped in at surface until each sample."""
        assert self.conc is not None
        return pumped_in(self.rate, self.conc, self.seconds)

    @cached_property
    def seconds(self) -> Array:
        """Seconds represented by each sample of the injection."""
        return sample_seconds(self.time_s)

    @cached_property
    def main(self) -> np.ndarray:
        """Samples of the main treatment: at the main rate or more, from its start."""
        line = self.picks.timeline
        mask = self.rate >= line.main_bpm
        if line.main is not None and line.start is not None:
            mask = mask.copy()
            mask[: max(line.main - line.start, 0)] = False
        return mask & ~np.isnan(self.pressure)

    @cached_property
    def at_rate(self) -> np.ndarray:
        """Samples of the main treatment at 90 % of the design rate or more."""
        reference = self.design.rate_bpm
        if not reference:
            fast = self.rate[self.main]
            reference = percentile(fast, 80.0) if fast.size else float("inf")
        return self.main & (self.rate >= AT_RATE * reference)

    @cached_property
    def at_rate_state(self) -> tuple[float, float, float]:
        """Mean rate [bpm], pressure [psi] and slurry density [lbm/gal] at rate."""
        if not self.at_rate.any():
            raise Missing("never at rate")
        return self._state(self.at_rate)

    @cached_property
    def treated_state(self) -> tuple[float, float, float]:
        """The same over the main treatment where the stage was never at rate."""
        return self._state(self.at_rate if self.at_rate.any() else self.main)

    def _state(self, mask: np.ndarray) -> tuple[float, float, float]:
        pipe = self.design.pipe
        if pipe is None:
            raise Missing("no casing, perforation depth or fluid density in the tables")
        rate, pressure = self.mean(self.rate, mask), self.mean(self.pressure, mask)
        conc = 0.0 if self.conc is None else self.mean(filled(self.conc, 0.0), mask)
        density = slurry_density_ppg(pipe.density_ppg, conc, self.design.absolute_volume_gal_lbm)
        return rate, pressure, float(density)

    @cached_property
    def spread(self) -> list[float]:
        """10, 50 and 90 % quantiles of pressure over the main treatment. [psi]"""
        return weighted_quantiles(self.pressure[self.main], self.seconds[self.main], [0.1, 0.5, 0.9])

    @cached_property
    def power(self) -> Array:
        """Hydraulic horsepower over the injection. [hp]"""
        return np.asarray(hydraulic_horsepower(self.pressure, self.rate))

    def total(self, per_s: Array) -> float:
        """Return the integral over the injection of a quantity given per second."""
        if self.injection is None:
            raise Missing(NO_INJECTION)
        whole = float(self.seconds @ per_s)  # trapezoidal rule without gaps; NaN if a sample is void
        return whole if whole == whole else integral(self.time_s, per_s)[0]

    def mean(self, values: Array, mask: np.ndarray) -> float:
        """Return a time mean over selected samples."""
        mean, total = weighted_mean(values, self.seconds, mask)
        if not total > 0.0:
            raise Missing(NO_INJECTION)
        return mean

    def pick(self, name: str) -> float:
        """Return an effective pick's value."""
        found = self.picks.effective[name]
        if found.value is None:
            raise Missing(found.reason)
        return found.value

    def moment(self, name: str) -> datetime:
        """Return an effective pick's time. UTC."""
        found = self.picks.effective[name]
        if found.time_s is None:
            raise Missing(found.reason)
        return self.at(found.time_s)

    def at(self, seconds: float) -> datetime:
        """Return a time of the record. UTC."""
        return self.origin + timedelta(seconds=seconds)
