"""Slip of debris, critical velocity, jets, coil on a reel: checks A9 to A13 of published worked examples."""

from __future__ import annotations

import fluids
import pytest
from fluids.drag import v_terminal

from pipeline.physics import transport
from pipeline.picks.coil_states import over_motor_limit

FT = 0.3048
CHIP = (0.25, 15.856, 8.34, 1.0)
"""A chip of a composite plug in water: in, lbm/gal, lbm/gal, cP."""


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
    for size in (0.01, 0.25, 2.0):  # the same law by the reference library: equal
        given = {"D": size * 0.0254, "rhop": 1900.0, "rho": 999.35, "mu": 1e-3}
        same = v_terminal(**given, Method="Haider_Levenspiel") / FT
        ours = transport.sphere_settling_ft_s(size, 1900 / 119.826427317, 999.35 / 119.826427317, 1.0)
        assert ours == pytest.approx(same, rel=1e-3)
    assert fluids.__version__


def test_moore_and_chien_and_the_band() -> None:
    # S1-A22: Moore (1974) and Chien (1971), both from memory
    assert transport.moore_slip_ft_s(*CHIP) == pytest.approx(0.730973, rel=1e-5)
    assert transport.chien_slip_ft_s(*CHIP) == pytest.approx(0.679326, rel=1e-5)
    assert transport.moore_slip_ft_s(0.05, 22.1, 8.6, 10.0) == pytest.approx(0.186686, rel=1e-5)
    assert transport.chien_slip_ft_s(0.05, 22.1, 8.6, 10.0) == pytest.approx(0.264777, rel=1e-5)
    # by hand, Re below 3: 82.87 * 0.02**2 * (15.856 - 8.34)/100 ft/s
    assert transport.moore_slip_ft_s(0.02, 15.856, 8.34, 100.0) == pytest.approx(
        82.87 * 0.0004 * 7.516 / 100.0, rel=1e-6
    )
    low, high = transport.slip_band_ft_s(*CHIP)
    assert low == pytest.approx(0.679326, rel=1e-5)
    assert high / low > 2.0  # irregular chip against smooth sphere: the product shows a band


def test_motor_limit_counts_only_with_the_bypass_closed() -> None:
    # S1-A26
    over = over_motor_limit([2.2, 2.4, 2.7, 3.4, 2.65], [0.0, 0.0, 0.0, 1.0, 0.0], 2.5)
    assert over.nonzero()[0].tolist() == [2, 4]
