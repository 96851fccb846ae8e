"""Records whose map declares another unit, and dates with day and month exchanged: told, and never sure."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest

from pipeline.metrics.measure import STAGE_METRICS
from pipeline.metrics.stage.plausible import beside, doubted, exchanged, levels, suspects
from pipeline.picks.stage import pick_stage
from pipeline.picks.types import StageRecord
from pipeline.schemas.picks import PICKS
from tests.conftest import Campaign
from tests.picks.test_campaign_picks import Case, cases

MPA, M3_MIN, BAR = 0.006894757, 0.158987295, 0.06894757


@pytest.fixture(scope="module")
def many() -> list[Case]:
    return cases(9100, 24)


def told(case: Case, record: StageRecord, row: dict[str, Any], reported: dict[str, Any]) -> list[tuple[str, str]]:
    picks = pick_stage(record, case.design)
    found = suspects(picks, case.design, row, reported, levels(picks))
    effective = doubted(picks, found).effective.values()
    assert not found or not any(pick.confidence in ("high", "medium") for pick in effective)
    return [(suspect.channel, suspect.words) for suspect in found]


def test_a_right_record_is_no_suspect(many: list[Case]) -> None:
    for case in many:
        assert told(case, case.record, {"tvd_ft": 9200.0}, {}) == []
        assert told(case, case.record, {}, {}) == []
        mean, top = case.truth.at_rate_bpm, case.truth.max_psi
        assert told(case, case.record, {}, {"avg_slurry_rate_bpm": mean, "max_treating_pressure_psi": top}) == []


@pytest.mark.parametrize(
    ("factor", "unit", "row", "reports"),
    [
        (MPA, "MPa", {"tvd_ft": 9200.0}, False), (MPA, "MPa", {}, False), (MPA, "MPa", {}, True),
        (BAR, "bar", {"tvd_ft": 9200.0}, False), (BAR, "bar", {}, True),
    ],
)  # fmt: skip
def test_a_pressure_in_another_unit_is_named(
    many: list[Case], factor: float, unit: str, row: dict[str, Any], reports: bool
) -> None:
    for case in many:
        record = replace(case.record, pressure_psi=case.record.pressure_psi * factor)
        given = {"max_treating_pressure_psi": case.truth.max_psi} if reports else {}
        found = told(case, record, row, given)
        assert [channel for channel, _ in found] == ["pressure"], (case.truth, found)
        assert f"probably in {unit}" in found[0][1]


def test_a_rate_in_cubic_metres_per_minute_is_named_against_design_and_report(many: list[Case]) -> None:
    for case in many:
        record = replace(case.record, rate_bpm=case.record.rate_bpm * M3_MIN, clean_bpm=None)
        bare = replace(case, design=replace(case.design, rate_bpm=None))
        found = told(bare, record, {"tvd_ft": 9200.0}, {"avg_slurry_rate_bpm": case.truth.at_rate_bpm})
        assert any(channel == "rate" and "probably in m3/min" in words for channel, words in found), found


def test_a_rate_in_cubic_metres_per_minute_is_named_against_the_reported_volume(many: list[Case]) -> None:
    for case in many:
        given = {"clean_bbl": case.truth.clean_bbl}
        bare = replace(case, design=replace(case.design, rate_bpm=None))
        assert told(bare, bare.record, {}, given) == []
        record = replace(case.record, rate_bpm=case.record.rate_bpm * M3_MIN, clean_bpm=None)
        found = told(bare, record, {}, given)
        assert any("add" in words and "probably in m3/min" in words for _, words in found), found


def test_a_metric_record_under_field_units_is_never_sure(many: list[Case]) -> None:
    """62 "psi" and 13.5 "bpm"; no design, no report."""
    for case in many:
        record = replace(
            case.record,
            pressure_psi=case.record.pressure_psi * MPA,
            rate_bpm=case.record.rate_bpm * M3_MIN,
            clean_bpm=None,
        )
        bare = replace(case, design=replace(case.design, rate_bpm=None))
        assert any("probably in MPa" in words for _, words in told(bare, record, {"tvd_ft": 9200.0}, {}))


def test_a_concentration_in_kilograms_per_cubic_metre_is_named() -> None:
    (case,) = cases(9101, 1, screenout=False, cut_short=False)
    assert case.record.conc_ppa is not None
    record = replace(case.record, conc_ppa=case.record.conc_ppa * 119.826427)
    given = {"proppant_lbm": case.truth.proppant_lbm, "clean_bbl": case.truth.clean_bbl}
    assert told(case, case.record, {}, given) == []
    assert any(channel == "concentration" and "kg/m3" in words for channel, words in told(case, record, {}, given))


def test_a_fall_at_shut_in_that_no_surge_explains_is_a_suspect() -> None:
    tried = 0
    for case in cases(9102, 8, screenout=False, early_shut_in=False):
        if case.truth.step_down_kp is not None:  # the last rate is low: the fall is small
            continue
        tried += 1
        assert case.design.pipe is not None
        case.design = replace(case.design, rate_bpm=None, pipe=replace(case.design.pipe, wave_speed_ft_s=4600.0))
        assert told(case, case.record, {}, {}) == []
        record = replace(case.record, rate_bpm=case.record.rate_bpm * 0.05, clean_bpm=None)
        assert any("an instant stop" in words for _, words in told(case, record, {}, {}))
    assert tried >= 4


def test_an_amended_pick_stands() -> None:
    (case,) = cases(9103, 1, screenout=False)
    pick = replace(case.picks.effective["isip"], value=5000.0, version=0, confidence="high", reason="amended")
    record = replace(case.record, pressure_psi=case.record.pressure_psi * MPA)
    picks = pick_stage(record, case.design, {"isip": pick})
    low = doubted(picks, suspects(picks, case.design, {}, {}, levels(picks)))
    assert low.effective["isip"].confidence == "high"
    assert low.automatic["isip"].confidence == "low"


def test_a_doubted_pick_is_not_an_amended_one(campaign: Campaign) -> None:
    """A stage of the campaign is recorded in units that its map does not know."""
    stages = campaign.lake.scan(STAGE_METRICS).filter("units_in_doubt").select("well_id", number="stage")
    mine = campaign.lake.scan(PICKS).filter(level="stage").join(stages, on=["well_id", "number"], how="semi").collect()
    assert mine.height and mine["amended_reason"].null_count() == mine.height


def day(month: int, number: int) -> datetime:
    return datetime(2024, month, number, 6, tzinfo=UTC)


@pytest.mark.parametrize(
    ("moment", "others", "fits"),
    [
        (day(1, 5), [day(5, 1), day(5, 2), day(4, 30)], day(5, 1)),  # 5 January for 1 May
        (day(5, 1), [day(5, 1), day(5, 2)], None),
        (day(1, 5), [day(3, 1), day(3, 2)], None),  # far from both
        (day(2, 20), [day(5, 1), day(5, 2)], None),  # there is no twentieth month
        (day(1, 5), [day(5, 1)], None),  # one other date decides nothing
        (day(6, 6), [day(1, 1), day(1, 2)], None),
    ],
)  # fmt: skip
def test_day_and_month_are_suspect_only_if_exchanging_them_fits_the_other_dates(
    moment: datetime, others: list[datetime], fits: datetime | None
) -> None:
    assert exchanged(moment, others) == fits


def test_samples_of_noise_have_no_suspects() -> None:
    time = np.arange(600.0)
    record = StageRecord(time, np.zeros(600), np.zeros(600))
    (case,) = cases(9104, 1)
    assert told(case, record, {"tvd_ft": 9000.0}, {"max_treating_pressure_psi": 9000.0}) == []


def test_a_rate_that_never_reaches_the_designed_main_rate_is_told_by_its_unit() -> None:
    """85 bpm as 13.5 m3/min: below the main rate of its own design, so that nothing else is measured."""
    (case,) = cases(9105, 1, screenout=False)
    assert case.design.rate_bpm
    record = replace(case.record, rate_bpm=case.record.rate_bpm * M3_MIN, clean_bpm=None)
    assert any(channel == "rate" and "m3/min" in words for channel, words in told(case, record, {"tvd_ft": 9200.0}, {}))
    both = replace(record, pressure_psi=case.record.pressure_psi * MPA)
    assert [channel for channel, _ in told(case, both, {"tvd_ft": 9200.0}, {})] == ["pressure", "rate"]
    idle = replace(case.record, rate_bpm=np.zeros(case.record.rate_bpm.size), clean_bpm=None)
    assert told(case, idle, {"tvd_ft": 9200.0}, {}) == []


def twice(record: StageRecord, pause_s: float) -> StageRecord:
    """The record, a pause without rate, and the record again."""
    still = np.arange(1.0, pause_s)

    def joined(values: Any, level: float) -> Any:
        return None if values is None else np.concatenate([values, np.full(still.size, level), values])

    end = record.time_s[-1]
    time = np.concatenate([record.time_s, end + still, record.time_s - record.time_s[0] + end + pause_s])
    return StageRecord(
        time, joined(record.pressure_psi, 3000.0), joined(record.rate_bpm, 0.0), joined(record.clean_bpm, 0.0),
        joined(record.conc_ppa, 0.0),
    )  # fmt: skip


def test_two_stages_in_one_record_are_suspect_and_a_repeated_start_is_not() -> None:
    for case in cases(9104, 4, screenout=False, cut_short=False):
        found = told(case, twice(case.record, 7200.0), {}, {})
        assert any("2 treatments of similar volume" in words for _, words in found), found
        # with the proppant of two stages a short pause is enough
        assert any("2 treatments" in words for _, words in told(case, twice(case.record, 900.0), {}, {}))
        unknown = replace(case, design=replace(case.design, proppant_lbm=None))
        assert not any("2 treatments" in words for _, words in told(unknown, twice(case.record, 900.0), {}, {}))
        assert any("2 treatments" in words for _, words in told(unknown, twice(case.record, 7200.0), {}, {}))
        generous = replace(case, design=replace(case.design, proppant_lbm=2.0 * case.truth.proppant_lbm))
        assert not any("2 treatments" in words for _, words in told(generous, twice(case.record, 7200.0), {}, {}))


def test_a_stage_that_goes_on_with_proppant_after_a_shutdown_is_one() -> None:
    for case in cases(9108, 4, screenout=False, cut_short=False):
        assert case.record.conc_ppa is not None
        middle = int(np.argmax(case.record.conc_ppa))
        still, end = np.arange(1.0, 5400.0), case.record.time_s[middle]

        def split(values: Any, level: float, at: int = middle, size: int = still.size) -> Any:
            return np.concatenate([values[:at], np.full(size, level), values[at:]])

        late = case.record.time_s[middle:] + 5400.0
        record = StageRecord(
            np.concatenate([case.record.time_s[:middle], end + still - 1.0, late]),
            split(case.record.pressure_psi, 3000.0), split(case.record.rate_bpm, 0.0),
            split(case.record.clean_bpm, 0.0), split(case.record.conc_ppa, 0.0),
        )  # fmt: skip
        assert not any("treatments of similar volume" in words for _, words in told(case, record, {}, {}))


@pytest.mark.parametrize(
    ("clean", "conc", "words"),
    [
        (1.0, 1.0 / 119.826427, "the concentration is probably in"),
        (0.5, 1.0, "check the columns of both rates and of the concentration"),
        (1.0, 1.0, None),
    ],
)
def test_rates_and_concentration_that_do_not_add_up_are_suspect(clean: float, conc: float, words: str | None) -> None:
    for case in cases(9105, 4, screenout=False, cut_short=False):
        assert case.record.clean_bpm is not None and case.record.conc_ppa is not None
        record = replace(case.record, clean_bpm=case.record.clean_bpm * clean, conc_ppa=case.record.conc_ppa * conc)
        found = [text for channel, text in told(case, record, {}, {}) if channel == "concentration"]
        assert [words in text for text in found] == ([True] if words else [])  # type: ignore[operator]


def test_a_pressure_that_is_too_low_for_the_rate_is_suspect() -> None:
    for case in cases(9106, 4, screenout=False):
        record = replace(case.record, pressure_psi=case.record.pressure_psi * 0.1451)  # psi read as kPa
        bare = replace(case, design=replace(case.design, rate_bpm=None))
        fast = float(np.nanpercentile(record.rate_bpm, 90.0)) >= 50.0 and np.nanmax(record.pressure_psi) < 1200.0
        assert any(channel == "pressure" for channel, _ in told(bare, record, {}, {})) == fast
        assert not any(channel == "pressure" for channel, _ in told(bare, record, {"tvd_ft": 2500.0}, {}))


def test_a_stage_in_another_unit_than_the_others_of_its_well_is_named() -> None:
    (case,) = cases(9107, 1, screenout=False, cut_short=False)
    bare = replace(case.design, rate_bpm=None)
    odd = replace(case.record, rate_bpm=case.record.rate_bpm * M3_MIN, clean_bpm=None)
    right = pick_stage(case.record, bare)
    found = beside([levels(one) for one in (right, pick_stage(odd, bare), right, right)])
    assert [[one.channel for one in stage] for stage in found] == [[], ["rate"], [], []]
    assert "the well's other stages" in found[1][0].words and "probably in m3/min" in found[1][0].words
    assert beside([levels(right), levels(pick_stage(odd, bare))]) == [[], []], "one other stage decides nothing"
