"""Inputs and results of the picks."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pipeline.physics.fluids import absolute_volume_gal_per_lbm

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Confidence = Literal["high", "medium", "low", "none", "amended", "confirmed"]
DISCHARGE = 0.75
"""Discharge coefficient of perforations where none is stated (common practice). [1]"""
BY_ENGINEER = 0
"""Version of a pick that an engineer set."""
SAND_GAL_LBM = float(absolute_volume_gal_per_lbm(2.65))
"""Volume of a pound of sand if no other proppant is stated (specific gravity 2.65, common practice). [gal/lbm]"""


@dataclass(frozen=True)
class StageRecord:
    """One stage's samples, strictly increasing in time; void samples are NaN.

    Attributes
    ----------
    time_s : array of shape (n,)
        Seconds since the first sample. [s]
    pressure_psi : array of shape (n,)
        Surface treating pressure. [psi]
    rate_bpm : array of shape (n,)
        Slurry rate. [bbl/min]
    clean_bpm : array of shape (n,), optional
        Clean rate; None if the record has no such channel. [bbl/min]
    conc_ppa : array of shape (n,), optional
        Proppant added per gallon of clean fluid. [lbm/gal]
    reducer_gpt : array of shape (n,), optional
        Friction reducer loading. [gal/1000 gal]
    downhole_psi : array of shape (n,), optional
        Pressure at a gauge in the well. [psi]
    """

    time_s: Array
    pressure_psi: Array
    rate_bpm: Array
    clean_bpm: Array | None = None
    conc_ppa: Array | None = None
    reducer_gpt: Array | None = None
    downhole_psi: Array | None = None


@dataclass(frozen=True)
class Pipe:
    """The flow path from the gauge to the perforations.

    Attributes
    ----------
    length_ft : float
        Measured depth of the perforations. [ft]
    inside_in : float
        Inside diameter; the equal-volume diameter if the string has several. [in]
    density_ppg : float
        Density of the clean fluid. [lbm/gal]
    wave_speed_ft_s : float, optional
        Speed of a pressure wave in it, from diameters and density. [ft/s]
    """

    length_ft: float
    inside_in: float
    density_ppg: float
    wave_speed_ft_s: float | None = None


@dataclass(frozen=True)
class StageDesign:
    """Known data of a stage before it is pumped; None if unknown.

    Attributes
    ----------
    rate_bpm : float, optional
        Designed slurry rate. [bbl/min]
    main_bpm : float, optional
        Main rate of the job where it is stated. [bbl/min]
    capacity_bbl : float, optional
        Casing volume to the perforations. [bbl]
    pressure_limit_psi : float, optional
        [psi]
    proppant_lbm : float, optional
        Designed proppant. [lbm]
    absolute_volume_gal_lbm : float
        Volume of a pound of grains; sand (SG 2.65) if nothing else is known. [gal/lbm]
    pipe : Pipe, optional
    holes : float, optional
        Holes fired. [1]
    hole_in : float, optional
        Hole diameter. [in]
    drag_reduction : float, optional
        Share of plain pipe friction removed by the fluid's friction reducer, as stated from a flow loop. [1]
    discharge : float
        Discharge coefficient of the perforations. [1]
    """

    rate_bpm: float | None = None
    capacity_bbl: float | None = None
    pressure_limit_psi: float | None = None
    proppant_lbm: float | None = None
    absolute_volume_gal_lbm: float = SAND_GAL_LBM
    pipe: Pipe | None = None
    holes: float | None = None
    hole_in: float | None = None
    drag_reduction: float | None = None
    main_bpm: float | None = None
    discharge: float = DISCHARGE


@dataclass(frozen=True)
class Pick:
    """One pick.

    Attributes
    ----------
    name : str
    value : float, optional
        None if nothing was picked. In ``unit``.
    unit : str
    time_s : float, optional
        Time, in seconds of the record. [s]
    standard_error : float, optional
        In ``unit``.
    method : str
    version : int
    confidence : {"high", "medium", "low", "none"}
    reason : str
        Reason for the confidence, or for a missing pick. Many tables show it, so it must not contain a person's name.
    engineer : str
        Who set the pick and why; empty for an automatic one.
    """

    name: str
    value: float | None
    unit: str
    time_s: float | None
    method: str
    version: int
    confidence: Confidence
    reason: str
    standard_error: float | None = None
    engineer: str = ""

    @property
    def by_engineer(self) -> bool:
        """Whether an engineer set the pick: its method has no version."""
        return self.version == BY_ENGINEER

    def as_amended(self, amendments: Mapping[str, Pick]) -> Pick:
        """Return the pick with its own amendment applied, if there is one; fields not set stay unchanged."""
        given = amendments.get(self.name)
        if given is None:
            return self
        value = self.value if given.value is None else given.value
        moment = self.time_s if given.time_s is None else given.time_s
        found = replace(given, value=value, time_s=moment, unit=self.unit)
        if (value, moment) != (self.value, self.time_s):
            return found
        return replace(found, confidence="confirmed", reason=given.reason.replace("amended", "confirmed", 1))


@dataclass(frozen=True)
class Method:
    """Method of a pick: name, unit, description and version, declared once next to its function."""

    name: str
    unit: str
    words: str
    version: int = 1

    def at(
        self, value: float | None, time_s: float | None, confidence: Confidence, reason: str, error: float | None = None
    ) -> Pick:
        """Return a pick made by this method."""
        return Pick(self.name, value, self.unit, time_s, self.words, self.version, confidence, reason, error)

    def missing(self, reason: str) -> Pick:
        """Return a missing pick with its reason."""
        return Pick(self.name, None, self.unit, None, self.words, self.version, "none", reason)


@dataclass
class Doubts:
    """Collects what lowers a pick's confidence; two doubts, or one grave doubt, make it low."""

    reasons: list[str] = field(default_factory=list)
    grave: bool = False

    def add(self, reason: str, *, grave: bool = False) -> None:
        """Add a doubt."""
        self.reasons.append(reason)
        self.grave = self.grave or grave

    @property
    def confidence(self) -> Confidence:
        """High without doubts, medium with one doubt, low with more or a grave one."""
        if self.grave or len(self.reasons) > 1:
            return "low"
        return "medium" if self.reasons else "high"

    def words(self, otherwise: str) -> str:
        """Return the doubts as text, or the given reason if there are none."""
        return "; ".join(self.reasons) or otherwise
