"""The sample campaign is one that a practitioner believes: its habits lie within ranges of the trade.

Ranges are common practice unless a source stands beside them.
"""

from __future__ import annotations

import duckdb
import pytest

from pipeline import queries

CHECKS = {
    "guns are out of the hole before the stage begins": (
        "SELECT count(*) FROM pump_down AS d JOIN stage AS s ON s.well_id = d.well_id AND s.stage = d.run "
        "WHERE s.start_time < d.end_time", 0, 0,
    ),
    "one fleet per pad": ("SELECT max(n) FROM (SELECT count(DISTINCT fleet) AS n FROM stage GROUP BY pad)", 1, 1),
    "circulating pressure is above wellhead pressure while pumping": (
        "SELECT quantile_cont(circulating_pressure_psi - wellhead_pressure_psi, 0.01) FROM coil "
        "WHERE pump_rate_bpm > 1.5", 300, 6000,
    ),
    "circulating pressure at mill rate [psi]": (
        "SELECT median(circulating_pressure_psi) FROM coil WHERE pump_rate_bpm BETWEEN 2.4 AND 2.8", 3000, 6500,
    ),
    "holes that misfired are those of the wireline record": (
        "SELECT count(*) FROM pump_down AS d JOIN stage AS s ON s.well_id = d.well_id AND s.stage = d.run "
        "WHERE coalesce(s.misfired, false) <> (d.misfires > 0)", 0, 0,
    ),
    "stages per day of a zipper fleet": (
        "SELECT median(stages_per_day) FROM pad_fleet WHERE operation_mode = 'zipper'", 7, 14,
    ),
    "pumping hours per day of a zipper fleet": (
        "SELECT median(pumping_hours_per_day) FROM pad_fleet WHERE operation_mode = 'zipper'", 12, 20,
    ),
    "stages per day on a single well": (
        "SELECT median(stages_per_day) FROM pad_fleet WHERE operation_mode = 'single well'", 3, 7,
    ),
    "share of lost time": ("SELECT sum(npt_hours) / sum(fleet_hours) FROM pad_fleet", 0.03, 0.15),
    "the longest tenth of the losses is a fifth of the lost time or more": (
        "WITH lost AS (SELECT hours, ntile(10) OVER (ORDER BY hours) AS part FROM pad_interval WHERE activity = 'NPT') "
        "SELECT sum(hours) FILTER (part = 10) / sum(hours) FROM lost", 0.2, 0.8,
    ),
    "friction reducer loading [gpt]": (
        "SELECT quantile_cont(friction_reducer_gpt, 0.9) - quantile_cont(friction_reducer_gpt, 0.1) FROM stage", 0.1, 0.8,
    ),
    "line speed of pump-downs [ft/min]": ("SELECT median(line_speed_ft_min) FROM pump_down", 200, 450),
    "fluid per 100 ft pumped down [bbl]": ("SELECT median(bbl_per_100_ft) FROM pump_down", 1, 6),
    "gas-oil ratio rises over the months": (
        "SELECT corr(gas_mcf / oil_bbl, age) FROM (SELECT *, row_number() OVER (PARTITION BY well_id ORDER BY month) "
        "AS age FROM production)", 0.8, 1,
    ),
    "load recovery of a month of flowback": (
        f"SELECT median(load_recovery) FROM ({queries.load('load_recovery').sql})", 0.05, 0.35,
    ),
    "stages that never reach 90 % of the design rate": (
        "SELECT count(*) FROM stage WHERE NOT reached_design_rate", 1, 10,
    ),
    "frac gradient [psi/ft]": ("SELECT median(isip_gradient_psi_ft) FROM stage", 0.7, 0.95),
    "frac gradient escalates along a well [psi/ft]": (
        "SELECT avg(late - early) FROM (SELECT avg(isip_gradient_psi_ft) FILTER (stage <= 2) AS early, "
        "avg(isip_gradient_psi_ft) FILTER (stage > 8) AS late FROM stage GROUP BY well_id)", 0.005, 0.06,
    ),
    "cost follows pumping hours": (
        "SELECT corr(c.amount, s.hours) FROM (SELECT well_id, sum(amount) AS amount FROM cost_line WHERE kind = 'spent' "
        "AND category = 'stimulation' GROUP BY ALL) AS c JOIN (SELECT well_id, sum(pump_time_min) AS hours FROM stage "
        "GROUP BY ALL) AS s USING (well_id)", 0.5, 1,
    ),
    "screen-outs per 100 stages": ("SELECT 100 * avg(screenout::INTEGER) FROM stage", 1, 2),
    "cut-short stages per 100": ("SELECT 100 * avg(cut_short::INTEGER) FROM stage", 0.5, 6),
    "stages of the wells with long laterals": (
        "SELECT min(n) FROM (SELECT count(*) AS n FROM stage GROUP BY well_id HAVING count(*) > 20)", 35, 65,
    ),
    "longest lateral [ft]": ("SELECT max(toe_md_ft - heel_md_ft) FROM well", 7_500, 13_000),
    "crews of a fleet": ("SELECT max(n) FROM (SELECT count(DISTINCT frac_crew) AS n FROM stage GROUP BY pad)", 2, 2),
    "crews on a pad that work neither days nor nights nor alone": (
        "SELECT count(*) FROM (SELECT avg((hour(local_start) BETWEEN 5 AND 18)::INTEGER) AS by_day FROM stage "
        "GROUP BY pad, frac_crew) WHERE by_day BETWEEN 0.3 AND 0.7", 0, 0,
    ),
    "highest treating pressure over the limit": (
        "SELECT max(max_treating_pressure_psi / pressure_limit_psi) FROM stage", 0.85, 1.0,
    ),
    "casing test above the limit of the stages [psi]": (
        "SELECT min(t.casing_test_psi) - max(s.pressure_limit_psi) FROM toe AS t, stage AS s", 200, 1_500,
    ),
    "shortest wait after a screen-out [h]": (
        "SELECT min(hours) FROM pad_interval WHERE activity = 'NPT' AND cause = 'screen-out'", 4, 48,
    ),
    "spread of the line speed of pump-downs [ft/min]": ("SELECT stddev(line_speed_ft_min) FROM pump_down", 15, 80),
    "wireline takes longer to the toe of a long lateral than to its heel [h]": (
        "SELECT avg(toe - heel) FROM (SELECT avg(run_hours) FILTER (run <= 8) AS toe, avg(run_hours) FILTER (run > 30) AS heel "
        "FROM pump_down GROUP BY well_id HAVING max(run) > 30)", 0.3, 2,
    ),
    "misfires per 100 runs": ("SELECT 100 * avg((misfires > 0)::INTEGER) FROM pump_down", 0.5, 6),
    "response of parents over that of other neighbours": (
        "SELECT avg(pressure_response_psi) FILTER (depletion_months > 0) / avg(pressure_response_psi) "
        "FILTER (depletion_months = 0) FROM neighbour", 1.5, 20,
    ),
    "friction of coil on casing": ("SELECT median(coil_friction) FROM coil_run", 0.15, 0.35),
    "modelled margin where the coil locked up": (
        "SELECT max(modelled_lock_up_margin) FROM coil_run WHERE locked_up", 0.5, 1.3,
    ),
    "spent per stage [USD]": ("SELECT median(cost_per_stage) * 1000 FROM well", 40_000, 160_000),
}  # fmt: skip


@pytest.mark.parametrize("what", CHECKS)
def test_the_campaign_is_believable(lake_sql: duckdb.DuckDBPyConnection, what: str) -> None:
    sql, low, high = CHECKS[what]
    ((value,),) = lake_sql.sql(sql).fetchall()
    assert value is not None, what
    assert low <= value <= high, (what, value)
