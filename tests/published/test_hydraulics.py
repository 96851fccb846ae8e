"""Hydraulics against SOURCES.md and SOURCES.md. Book constants appear only here."""

from __future__ import annotations

import fluids
import numpy as np
import pytest

from pipeline.physics import entry, friction, hydraulics, waves
from pipeline.physics import fluids as columns
from pipeline.picks.stepdown import separate

BOOK = 0.2369 / 0.23763551
"""Printed over exact constant of perforation friction."""
SAND = columns.absolute_volume_gal_per_lbm(2.65)


def test_hydrostatic() -> None:
    assert columns.hydrostatic_psi(8.4, 9500.0) == pytest.approx(4145.45, rel=1e-3)  # SOURCES.md
    assert columns.hydrostatic_psi(8.43, 9500.0) == pytest.approx(4160.26, rel=1e-5)  # S1-A01, exact
    assert columns.hydrostatic_psi(8.43, 9500.0) * 0.052 / (12 / 231) == pytest.approx(
        4164.42, rel=1e-5
    )  # S1-A01, book


def test_slurry_density_and_clean_fraction() -> None:
    assert columns.slurry_density_ppg(8.34, 2.5, SAND) == pytest.approx(9.73906, rel=1e-3)  # SOURCES.md
    assert columns.clean_fraction(2.5, SAND) == pytest.approx(0.898437, rel=1e-3)  # SOURCES.md
    assert columns.slurry_density_ppg(8.34, 2.0, 0.0456) == pytest.approx(9.47581, rel=1e-5)  # S1-A02 (Jennings 2008)
    assert columns.slurry_density_ppg(8.34, 2.0, SAND) == pytest.approx(9.48245, rel=1e-5)  # S1-A02


def test_s1_a03_clean_rate_and_proppant_rate() -> None:
    clean = 80.0 * columns.clean_fraction(2.0, SAND)
    assert clean == pytest.approx(73.3652, rel=1e-5)
    assert columns.proppant_rate_lbm_min(clean, 2.0) == pytest.approx(6162.68, rel=1e-5)


def test_perforation_friction() -> None:
    # SOURCES.md: Economides and Nolte, Reservoir Stimulation (from memory); the printed constant at 0.5 %
    exact = friction.perforation_friction_psi(90.0, 8.4, 36, 0.35, 0.75)
    assert exact == pytest.approx(1473.43, rel=5e-3)
    assert exact * BOOK == pytest.approx(1473.43, rel=1e-3)
    # S1-A04
    assert friction.perforation_friction_psi(90.0, 8.34, 40, 0.42, 0.80) == pytest.approx(503.808, rel=1e-5)
    assert friction.perforation_friction_psi(90.0, 8.34, 40, 0.42, 0.80) * BOOK == pytest.approx(502.249, rel=1e-5)
    assert friction.perforation_friction_psi(90.0, 8.34, 20, 0.42, 0.80) * BOOK == pytest.approx(2009.0, rel=1e-4)
    assert friction.perforation_friction_psi(90.0, 8.34, 40, 0.42, 0.60) * BOOK == pytest.approx(892.887, rel=1e-5)


def test_s1_a05_rate_per_hole_of_a_limited_entry_design() -> None:
    # Jennings, 'Limited Entry Treatment': 280 psi, 0.42 in, C 0.95, 8.33 ppg -> 2.0 bpm a hole (0.487 form: 1.99503)
    at_that_rate = friction.perforation_friction_psi(1.99503, 8.33, 1, 0.42, 0.95)
    assert at_that_rate * 0.487**2 / 0.23763551 == pytest.approx(280.0, rel=1e-4)


def test_s1_a06_holes_for_a_limited_entry_target() -> None:
    one_hole = friction.perforation_friction_psi(90.0, 8.34, 1, 0.42, 0.80) * BOOK
    assert np.sqrt(one_hole / 1500.0) == pytest.approx(23.1459, rel=1e-5)


def test_pipe_friction_and_friction_factor() -> None:
    # SOURCES.md: 90 bpm, 4.778 in, 1 cP, 8.4 ppg, roughness 0.0018 in, 16,000 ft
    reynolds = friction.reynolds_number(90.0, 8.4, 4.778, 1.0)
    assert friction.churchill_darcy(reynolds, 0.0018 / 4.778) == pytest.approx(0.0160041, rel=1e-3)
    assert fluids.friction.Colebrook(float(reynolds), 0.0018 / 4.778) == pytest.approx(0.0159443, rel=1e-3)
    assert friction.pipe_friction_psi(90.0, 8.4, 16000.0, 4.778) == pytest.approx(19951.6, rel=1e-3)
    limited = friction.pipe_friction_psi(90.0, 8.4, 16000.0, 4.778, drag_reduction=0.99)
    assert limited == pytest.approx(1589.84, rel=1e-3)  # Virk's maximum drag reduction


def test_s1_a08_churchill_is_that_of_the_reference_library() -> None:
    assert friction.churchill_darcy(1e5, 1e-4) == pytest.approx(0.0184626245662801, rel=1e-9)
    reynolds = np.geomspace(1e3, 1e7, 40)
    library = [fluids.friction.Churchill_1977(float(re), 1e-4) for re in reynolds]
    assert friction.churchill_darcy(reynolds, 1e-4) == pytest.approx(library, rel=1e-12)


def test_s1_a09_virk_limit() -> None:
    # Virk, AIChE J. 21 (1975), constant 32.4; SOURCES.md: Re 1e6
    assert friction.virk_maximum_drag_reduction_fanning(1e5) == pytest.approx(0.00088579, rel=1e-5)
    assert friction.virk_maximum_drag_reduction_fanning(5e5) == pytest.approx(0.00050381, rel=1e-5)
    assert friction.virk_maximum_drag_reduction_fanning(1e6) == pytest.approx(4.09503e-4, rel=1e-3)
    # SOURCES.md: at Re 1e4 the log form gives 2.70926e-3
    assert friction.virk_maximum_drag_reduction_fanning(1e4) == pytest.approx(2.70926e-3, rel=1e-5)


def test_s1_a10_friction_of_a_thousand_feet() -> None:
    reynolds = friction.reynolds_number(80.0, 8.34, 4.670, 1.0)
    assert reynolds == pytest.approx(2.27394e6, rel=1e-4)
    plain = friction.pipe_friction_psi(80.0, 8.34, 1000.0, 4.670, roughness_in=0.0006)
    assert plain == pytest.approx(909.064, rel=1e-4)
    darcy = fluids.friction.Colebrook(float(reynolds), 0.0006 / 4.670)
    assert friction.darcy_weisbach_psi(darcy, 1000.0, 4.670, 80.0, 8.34) == pytest.approx(903.994, rel=1e-4)
    floor = friction.pipe_friction_psi(80.0, 8.34, 1000.0, 4.670, roughness_in=0.0006, drag_reduction=0.99)
    assert floor == pytest.approx(89.7252, rel=1e-4)
    # 70 % drag reduction of the Colebrook loss is 271.198 psi; ours, of Churchill's, is 0.3 times 909.064
    treated = friction.pipe_friction_psi(80.0, 8.34, 1000.0, 4.670, roughness_in=0.0006, drag_reduction=0.70)
    assert treated == pytest.approx(0.30 * 909.064, rel=1e-4)


def test_hydraulic_horsepower() -> None:
    assert hydraulics.hydraulic_horsepower(9500.0, 95.0) == pytest.approx(22111.3, rel=1e-5)  # SOURCES.md, exact units
    assert hydraulics.hydraulic_horsepower(9500.0, 95.0) == pytest.approx(22120.1, rel=1e-3)  # SOURCES.md, 40.8
    assert hydraulics.hydraulic_horsepower(9500.0, 85.0) == pytest.approx(19783.7, rel=1e-5)  # S1-A11


def test_capacities() -> None:
    # SOURCES.md: Lapeyrouse (from memory)
    assert hydraulics.pipe_capacity_bbl(4.778, 17000.0) == pytest.approx(377.014, rel=1e-3)
    assert hydraulics.annulus_capacity_bbl(4.778, 2.375, 15000.0) == pytest.approx(250.466, rel=1e-3)
    # S1-A18
    assert hydraulics.annulus_capacity_bbl(4.670, 2.375, 1.0) == pytest.approx(0.0157063, rel=1e-5)
    assert hydraulics.annulus_capacity_bbl(4.670, 2.375, 17500.0) == pytest.approx(274.86, rel=1e-5)
    assert hydraulics.annulus_capacity_bbl(4.670, 2.375, 17500.0) / 3.5 == pytest.approx(78.5314, rel=1e-5)


def test_annular_velocity() -> None:
    # SOURCES.md: 147 gpm, 4.778 x 2.375 in
    assert hydraulics.annular_velocity_ft_min(147.0 / 42.0, 4.778, 2.375) == pytest.approx(209.613, rel=1e-3)
    # S1-A17: Lyons, Carter and Lapeyrouse (2012) p. 21 print 100
    assert hydraulics.annular_velocity_ft_min(530.0 / 42.0, 12.25, 4.5) == pytest.approx(100.069, abs=1e-3)
    assert hydraulics.annular_velocity_ft_min(530.0 / 42.0, 12.25, 4.5) == pytest.approx(100.0, abs=0.5)
    assert hydraulics.annular_velocity_ft_min(3.5, 4.670, 2.375) == pytest.approx(222.841, rel=1e-5)  # S1-A18


def test_nozzles() -> None:
    # SOURCES.md: API RP 13D form (from memory), three 3/16-in nozzles; the printed 12042 at 1e-3
    area = hydraulics.nozzle_area_in2(3, 3 / 16)
    assert hydraulics.nozzle_pressure_drop_psi(105.0, 8.6, area) == pytest.approx(1271.46, rel=1e-3)
    # S1-A16: Guo and Liu (2011) eqs 2.85-2.87, constant 12,031
    slurry = columns.slurry_density_ppg(8.34, 1.0, SAND)
    assert slurry == pytest.approx(8.93594, rel=1e-5)
    assert area == pytest.approx(0.082835, rel=1e-5)
    book = 12033.930 / 12031.0
    assert hydraulics.nozzle_pressure_drop_psi(126.0, slurry, area, 0.95) * book == pytest.approx(1904.17, rel=1e-5)
    assert hydraulics.nozzle_pressure_drop_psi(126.0, slurry, area, 0.81) * book == pytest.approx(2619.28, rel=1e-5)


def test_water_hammer() -> None:
    assert waves.hammer_period_s(17000.0, 4800.0) == pytest.approx(14.1667, rel=1e-3)  # SOURCES.md: Wylie and Streeter
    # SOURCES.md: Korteweg (1878)
    assert waves.wave_speed_ft_s(2.2e9, 1000.0, 4.67, 0.415) == pytest.approx(4599.02, rel=1e-3)
    # SOURCES.md: Joukowsky (1898)
    assert waves.joukowsky_surge_psi(8.4, 4800.0, 100.0, 4.778) == pytest.approx(4892.5, rel=1e-3)


@pytest.mark.parametrize(("restraint", "speed_m_s"), [(1.0, 1401.78), (1 - 0.15, 1413.15), (1 - 0.09, 1408.57)])
def test_s1_a13_wave_speed_by_anchoring(restraint: float, speed_m_s: float) -> None:
    found = waves.wave_speed_ft_s(2.2e9, 1000.0, 118.618 / 25.4, 10.541 / 25.4, 207e9, restraint)
    assert found * 0.3048 == pytest.approx(speed_m_s, rel=1e-5)


def test_s1_a14_and_a15_surge_and_periods() -> None:
    speed = waves.wave_speed_ft_s(2.2e9, 1000.0, 118.618 / 25.4, 10.541 / 25.4, 207e9, 1 - 0.09)
    water = 1000.0 / 119.826427317
    assert waves.joukowsky_surge_psi(water, speed, 80.0, 118.618 / 25.4) == pytest.approx(3918.95, rel=1e-5)
    assert waves.joukowsky_surge_psi(water, speed, 10.0, 118.618 / 25.4) == pytest.approx(489.868, rel=1e-5)
    assert waves.hammer_period_s(18000.0, speed) == pytest.approx(15.5801, rel=1e-5)
    assert waves.hammer_period_s(18000.0, speed) / 2.0 == pytest.approx(7.79003, rel=1e-5)


def test_no_rate_no_friction_and_no_warning() -> None:
    loss = friction.pipe_friction_psi(np.array([0.0, -1.0, 50.0]), 8.4, 10000.0, 4.778)
    assert loss[0] == 0.0
    assert loss[1] == 0.0
    assert loss[2] > 0.0


def test_drag_reduction_of_one_is_refused() -> None:
    with pytest.raises(ValueError, match="drag_reduction"):
        friction.pipe_friction_psi(50.0, 8.4, 10000.0, 4.778, drag_reduction=1.0)


def test_s1_a07_step_down_separation() -> None:
    """Weijers' decomposition by non-negative least squares, ISIP fixed at 6,150 psi."""
    rate = np.array([80.0, 65.0, 50.0, 35.0, 20.0])
    loss = np.array([7730.0, 7312.0, 6964.0, 6684.0, 6464.0]) - 6150.0
    kp, kt, error = separate(rate, loss)
    assert kp == pytest.approx(0.169961, rel=1e-5)
    assert kt == pytest.approx(55.043, rel=1e-5)
    assert kp * 80.0**2 == pytest.approx(1087.75, rel=1e-5)
    assert kt * np.sqrt(80.0) == pytest.approx(492.319, rel=1e-5)
    holes = np.sqrt(0.2369 * 8.34 / (kp * 0.40**4 * 0.75**2))
    assert holes == pytest.approx(28.4125, rel=1e-5)
    assert holes / np.sqrt(BOOK) == pytest.approx(28.4566, rel=1e-5)
    assert 0.0 < error[0] < 0.01


def test_step_down_of_the_trade_page_is_recovered() -> None:
    """SOURCES.md: isip 5,200, kp 0.13, kt 55 at 90/60/35/15 bpm."""
    rate = np.array([90.0, 60.0, 35.0, 15.0])
    pressure = 5200.0 + 0.13 * rate**2 + 55.0 * np.sqrt(rate)
    assert pressure == pytest.approx([6774.78, 6094.03, 5684.63, 5442.26], rel=1e-6)
    kp, kt, _ = separate(rate, pressure - 5200.0)
    assert kp == pytest.approx(0.13, rel=1e-6)
    assert kt == pytest.approx(55.0, rel=1e-6)


def test_s1_a12_bottomhole_pressure() -> None:
    weight = columns.hydrostatic_psi(8.34, 9200.0) * 0.052 / (12 / 231)
    assert 8900.0 + weight - 2100.0 == pytest.approx(10789.9, abs=0.05)
    assert 8900.0 + weight - 2100.0 - 1450.0 - 420.0 == pytest.approx(8919.86, abs=0.01)


def test_s1_b11_pressure_at_a_reference_rate() -> None:
    found = entry.pressure_at_reference_rate_psi(9100.0, 85.0, 80.0, 2500.0, 1400.0)
    assert found == pytest.approx(8688.49, rel=1e-5)


@pytest.mark.parametrize(
    ("holes", "pressure", "rates", "spread"),
    [
        (6, 8308.4, [21.7893, 20.055, 18.1557], 0.0741975),
        (3, 11610.8, [20.4519, 20.0034, 19.5447], 0.0185195),
    ],
)
def test_s1_b13_limited_entry_split(holes: int, pressure: float, rates: list[float], spread: float) -> None:
    """With the printed 0.2369; fewer holes divide the rate more evenly."""
    stress = np.array([7000.0, 7200.0, 7400.0])
    found, split = entry.limited_entry_split(60.0, stress, holes, 0.42, 0.8 / np.sqrt(BOOK), 8.34)
    assert found == pytest.approx(pressure, rel=1e-5)
    assert split == pytest.approx(rates, rel=1e-5)
    assert split.sum() == pytest.approx(60.0)
    assert entry.evenness(split) == pytest.approx(spread, rel=1e-4)
