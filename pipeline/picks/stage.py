"""All picks of one stage, in order of dependency."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from pipeline.physics.waves import hammer_period_s
from pipeline.picks import hammer, proppant, screenout, shutin, stepdown
from pipeline.picks.arrays import at_time
from pipeline.picks.breakdown import BALL_SEAT, BREAKDOWN, find_ball_seat, find_breakdown
from pipeline.picks.falloff import LATER, Falloff, falloff, last_pumping_psi, later_pressures
from pipeline.picks.gauge import repair_pressure
from pipeline.picks.timeline import (
    INITIAL_SHUT_IN,
    INJECTION_START,
    MAIN_START,
    SHUT_IN,
    Timeline,
    find_timeline,
)
from pipeline.picks.types import Method, Pick, StageDesign, StageRecord
from pipeline.picks.zero import ZERO_OFFSET, find_zero_offset, without_offset

METHODS: tuple[Method, ...] = (
    ZERO_OFFSET,
    INJECTION_START, MAIN_START, SHUT_IN, INITIAL_SHUT_IN, BALL_SEAT, BREAKDOWN, shutin.ISIP, shutin.INITIAL_ISIP,
    *LATER.values(), *hammer.METHODS, *screenout.METHODS,
    *proppant.METHODS, *stepdown.METHODS,
)  # fmt: skip
"""Every pick of a stage; a change of their versions makes measured rows stale."""


@dataclass(frozen=True)
class StagePicks:
    """The picks of a stage.

    Attributes
    ----------
    timeline : Timeline
        The record with effective start, main treatment and end.
    automatic : dict of str to Pick
        Picks made by the pipeline.
    effective : dict of str to Pick
        The same with amendments applied; the metrics read only these.
    breakdown_kind : str
        ``sharp``, ``soft``, ``gradual``, ``unseen`` or ``amended``.
    faulty_pressures : int
        Samples of the treating pressure that were left out as faults of the gauge.
    """

    timeline: Timeline
    automatic: dict[str, Pick]
    effective: dict[str, Pick]
    breakdown_kind: str = "unseen"
    faulty_pressures: int = 0


@dataclass
class _Settling:
    amended: Mapping[str, Pick]
    automatic: dict[str, Pick] = field(default_factory=dict)
    effective: dict[str, Pick] = field(default_factory=dict)

    def settle(self, *picks: Pick) -> None:
        for pick in picks:
            self.automatic[pick.name] = pick
            self.effective[pick.name] = pick.as_amended(self.amended)

    def time(self, name: str) -> float | None:
        return self.effective[name].time_s


def pick_stage(record: StageRecord, design: StageDesign, amended: Mapping[str, Pick] | None = None) -> StagePicks:
    """Make all picks of a stage.

    Parameters
    ----------
    record : StageRecord
    design : StageDesign
    amended : mapping of str to Pick, optional
        Picks that an engineer set; all dependent picks are made again.

    Returns
    -------
    StagePicks
    """
    settling = _Settling(amended or {})
    record, faulty = repair_pressure(record)
    settling.settle(find_zero_offset(record))
    record = without_offset(record, settling.effective["zero_offset"].value)
    timeline, times = find_timeline(record, design)
    settling.settle(*times.values())
    timeline = _as_settled(timeline, settling)
    settling.settle(find_ball_seat(timeline))
    breakdown, kind = find_breakdown(timeline, settling.time("ball_seat"))
    settling.settle(breakdown)
    if "breakdown_pressure" in settling.amended:
        kind = "amended"
    settling.settle(*proppant.find_proppant(timeline))
    settling.settle(
        *screenout.find_screenout(timeline, design, settling.time("first_proppant"), settling.time("last_proppant"))
    )
    _after_shut_in(timeline, design, settling)
    settling.settle(*stepdown.find_friction(timeline, design, settling.effective["isip"]))
    return StagePicks(timeline, settling.automatic, settling.effective, kind, int(faulty.sum()))


def _as_settled(timeline: Timeline, settling: _Settling) -> Timeline:
    def index(name: str) -> int | None:
        moment = settling.time(name)
        return None if moment is None else at_time(timeline.record.time_s, moment)

    return replace(timeline, start=index("injection_start"), main=index("main_start"), end=index("shut_in"))


def fit_falloff(timeline: Timeline, design: StageDesign, shut_in_s: float) -> tuple[Falloff, hammer.Hammer | None, str]:
    """Return the falloff after a shut-in, and its ringing or why there is none."""
    expected = None
    if design.pipe is not None and design.pipe.wave_speed_ft_s is not None:
        expected = hammer_period_s(design.pipe.length_ft, design.pipe.wave_speed_ft_s)
    fall = falloff(timeline, shut_in_s)
    return fall, *hammer.fit_hammer(fall, expected)


def _after_shut_in(timeline: Timeline, design: StageDesign, settling: _Settling) -> None:
    early = settling.time("initial_shut_in")
    if early is None:
        settling.settle(shutin.INITIAL_ISIP.missing("no shut-in before the final one"))
    else:
        fall, ringing, _ = fit_falloff(timeline, design, early)
        pumping = last_pumping_psi(timeline, early)
        settling.settle(shutin.fit_isip(shutin.INITIAL_ISIP, fall, ringing, early, pumping))
    end = settling.time("shut_in")
    if end is None:
        reason = settling.effective["shut_in"].reason
        after = [shutin.ISIP, *LATER.values(), *hammer.METHODS]
        settling.settle(*(method.missing(reason) for method in after))
        return
    fall, ringing, absent = fit_falloff(timeline, design, end)
    isip = shutin.fit_isip(shutin.ISIP, fall, ringing, end, last_pumping_psi(timeline, end))
    if settling.effective["screenout"].value == 1.0 and isip.value is not None:
        isip = replace(isip, confidence="low", reason="the stage screened out; " + isip.reason)
    settling.settle(isip, *later_pressures(fall, end), *hammer.hammer_picks(ringing, absent, end))
