"""Slip of debris, critical velocity, jets, coil on a reel: checks A9 to A13 of published worked examples."""

from __future__ import annotations

import fluids
import pytest
from fluids.drag import v_terminal
from fluids.friction import helical_turbulent_fd_Srinivasan

from pipeline.physics import hydraulics, transport
from pipeline.picks.coil_states import over_motor_limit

FT = 0.3048
CHIP = (0.25, 15.856, 8.34, 1.0)
"""A chip of a composite plug in water: in, lbm/gal, lbm/gal, cP."""


def test_the_reference_library_gives_its_documented_values() -> None:
    # S1-A19 and S1-A24: documentation of the library `fluids`
    assert v_terminal(D=70e-6, rhop=2600.0, rho=1000.0, mu=1e-3) == pytest.approx(0.00414249724453, rel=1e-8)
    assert helical_turbulent_fd_Srinivasan(1e4, 0.01, 0.02) == pytest.approx(0.0570745212117, rel=1e-8)


def test_friction_on_the_reel_is_the_reference_library_s() -> None:
    # S1-A24: Srinivasan et al. (1970)
    assert transport.coiled_friction_darcy(1e4, 0.01, 0.02) == pytest.approx(0.0570745212117, rel=1e-8)
    for reynolds, ratio in ((5e4, 0.02), (3e5, 0.03)):
        assert transport.coiled_friction_darcy(reynolds, ratio, 1.0) == pytest.approx(
            helical_turbulent_fd_Srinivasan(reynolds, ratio, 1.0), rel=1e-9
        )


def test_slip_with_sphericity() -> None:
    # S1-A20: Guo and Liu (2011), Table 2.4 p. 56, printed 0.5166 ft/s; SG 2.7 there is 2.7 * 62.4 lb/ft3 over 7.48
    slip = transport.fang_slip_ft_s(0.25, 2.7 * 62.4 / 7.48, 12.0, 6.0, 0.8)
    assert slip == pytest.approx(0.516563, rel=1e-4)
    assert transport.REYNOLDS * 12.0 * slip * 0.25 / 6.0 == pytest.approx(239.685, rel=1e-4)


def test_sphere_follows_the_reference_library() -> None:
    # S1-A21, S1-A22: drag law of `fluids`; ours is another published fit, within 6 %
    sand = transport.sphere_settling_ft_s(150e-6 / 0.0254, 2650 / 119.826427317, 1000 / 119.826427317, 1.0) * FT
    assert sand == pytest.approx(0.0161653, rel=0.06)
    assert sand < 0.0202262  # Stokes is not valid here
    assert transport.sphere_settling_ft_s(*CHIP) == pytest.approx(1.42012, rel=0.04)
    for size in (0.01, 0.05, 0.5):
        reference = v_terminal(D=size * 0.0254, rhop=1900.0, rho=999.35, mu=1e-3) / FT
        ours = transport.sphere_settling_ft_s(size, 1900 / 119.826427317, 999.35 / 119.826427317, 1.0)
        assert ours == pytest.approx(reference, rel=0.06)
    assert fluids.__version__


def test_moore_and_chien_and_the_band() -> None:
    # S1-A22: Moore (1974) and Chien (1971), both from memory
    assert transport.moore_slip_ft_s(*CHIP) == pytest.approx(0.730973, rel=1e-5)
    assert transport.chien_slip_ft_s(*CHIP) == pytest.approx(0.679326, rel=1e-5)
    assert transport.moore_slip_ft_s(0.05, 22.1, 8.6, 10.0) == pytest.approx(0.186686, rel=1e-5)
    assert transport.chien_slip_ft_s(0.05, 22.1, 8.6, 10.0) == pytest.approx(0.264777, rel=1e-5)
    low, high = transport.slip_band_ft_s(*CHIP)
    assert low == pytest.approx(0.679326, rel=1e-5)
    assert high / low > 2.0  # irregular chip against smooth sphere: the product shows a band


def test_larsen_without_corrections() -> None:
    # S1-A23: Larsen, Pilehvari and Azar (1997), from memory
    cut, slip = transport.larsen_critical_velocity_ft_s(50.0, 4.5, 8.5, 20.0)
    assert cut == pytest.approx(1.38499, rel=1e-5)
    assert slip == pytest.approx(3.108, rel=1e-5)
    assert cut + slip == pytest.approx(4.49299, rel=1e-5)
    assert transport.larsen_critical_velocity_ft_s(50.0, 4.5, 8.5, 60.0)[1] == pytest.approx(0.02554 * 7.0 + 3.28)


def test_equivalent_circulating_density() -> None:
    # S1-A25, printed with 0.052
    assert transport.equivalent_circulating_density_ppg(8.4, 620.0, 9100.0) == pytest.approx(9.71023, rel=2e-4)
    book = 0.052 / (12.0 / 231.0)
    assert transport.equivalent_circulating_density_ppg(8.4, 620.0 / book, 9100.0) == pytest.approx(9.71023, rel=1e-5)


def test_motor_limit_counts_only_with_the_bypass_closed() -> None:
    # S1-A26
    over = over_motor_limit([2.2, 2.4, 2.7, 3.4, 2.65], [0.0, 0.0, 0.0, 1.0, 0.0], 2.5)
    assert over.nonzero()[0].tolist() == [2, 4]


def test_jet_velocity_two_ways() -> None:
    # S1-A16: Guo and Liu (2011) eqs 2.85-2.87, printed 488.059 and 488.047 ft/s
    area = hydraulics.nozzle_area_in2(3, 3 / 16)
    book = (8.072974e-4 / 8.074e-4) ** 0.5
    assert transport.jet_velocity_from_drop_ft_s(1904.17, 8.93594) * book == pytest.approx(488.047, rel=1e-5)
    drop = hydraulics.nozzle_pressure_drop_psi(126.0, 8.93594, area, 0.95)
    assert transport.jet_velocity_from_drop_ft_s(drop, 8.93594) == pytest.approx(
        hydraulics.jet_velocity_ft_s(126.0, area), rel=1e-5
    )
