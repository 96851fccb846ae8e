"""Gradients, initiation and the G-function against trade.md section 5 and checks.md part B."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from pipeline.physics import rock


def test_isip_gradient() -> None:
    assert rock.pressure_gradient_psi_ft(6241.0, 8.34, 7456.0) == pytest.approx(1.27029, rel=1e-5)  # trade.md 3
    # S1-B04, printed with 0.052: (4650 + 0.052*8.34*9200)/9200
    book = rock.pressure_gradient_psi_ft(4650.0, 8.34 * 0.052 / (12 / 231), 9200.0)
    assert book == pytest.approx(0.939115, rel=1e-5)


def test_open_hole_initiation() -> None:
    assert rock.open_hole_initiation_psi(6500.0, 8200.0, 4100.0, 900.0) == pytest.approx(8100.0)  # trade.md 5
    assert rock.open_hole_initiation_psi(7200.0, 7900.0, 4300.0, 500.0) == pytest.approx(9900.0)  # S1-B02, H-W


# S1-B05: Nolte, SPE 8341 (1979)
LOW = [0.0, 0.1099221, 0.2072273, 0.4626825, 0.8209236, 1.406382, 2.321923, 4.27231, 6.553103]
HIGH = [0.0, 0.09060276, 0.1736728, 0.3987017, 0.7248367, 1.27324, 2.151592, 4.059696, 6.315946]
TIMES = np.array([0.0, 0.05, 0.1, 0.25, 0.5, 1.0, 2.0, 5.0, 10.0])


def test_s1_b05_g_function() -> None:
    assert rock.nolte_g(TIMES) == pytest.approx(LOW, rel=1e-5, abs=1e-12)
    assert rock.nolte_g(TIMES, high_leakoff=True) == pytest.approx(HIGH, rel=1e-5, abs=1e-12)


def test_g_function_of_the_trade_page_and_exact_anchors() -> None:
    assert rock.nolte_g(0.5) == pytest.approx(0.820924, rel=1e-5)
    assert rock.nolte_g(5.0) == pytest.approx(4.27231, rel=1e-5)
    assert rock.nolte_g(1.0, high_leakoff=True) == pytest.approx(4.0 / np.pi, rel=1e-12)
    assert rock.nolte_g(1.0) == pytest.approx(16.0 / (3.0 * np.pi) * (2**1.5 - 2.0), rel=1e-12)


@pytest.mark.parametrize(("high", "time"), [(False, 2.90929), (True, 3.19457)])
def test_s1_b06_inverse_of_g(high: bool, time: float) -> None:
    assert rock.nolte_g(time, high_leakoff=high) == pytest.approx(3.0, rel=1e-5)


def test_s1_b02_penetrating_initiation_and_its_limit() -> None:
    eta = 0.8 * (1.0 - 2.0 * 0.25) / (2.0 * (1.0 - 0.25))
    assert eta == pytest.approx(0.266667, rel=1e-5)
    assert rock.penetrating_initiation_psi(7200.0, 7900.0, 4300.0, 500.0, eta) == pytest.approx(8118.18, rel=1e-5)
    limit = rock.penetrating_initiation_psi(7200.0, 7900.0, 4300.0, 500.0, 0.5)
    assert limit == pytest.approx(rock.open_hole_initiation_psi(7200.0, 7900.0, 4300.0, 500.0))


def test_s1_b04_net_pressure_at_shut_in() -> None:
    bottom = rock.pressure_gradient_psi_ft(4650.0, 8.34 * 0.052 / (12 / 231), 9200.0) * 9200.0
    assert bottom - 7350.0 == pytest.approx(1289.86, rel=1e-5)


def test_s1_b07_stress_beside_a_long_crack() -> None:
    """Sneddon and Elliott (1946)."""
    share = rock.stress_shadow_share(np.array([0.1, 0.25, 0.5, 1.0, 2.0]))
    assert share == pytest.approx([0.992457, 0.910557, 0.646447, 0.284458, 0.0869247], rel=1e-5)


def test_s1_b08_isip_escalation() -> None:
    isip = [4210.0, 4335.0, 4420.0, 4480.0, 4535.0, 4550.0, 4590.0, 4585.0]
    assert np.polyfit(np.arange(8), isip, 1)[0] == pytest.approx(51.7262, rel=1e-5)
    assert stats.theilslopes(isip).slope == pytest.approx(52.2857, rel=1e-5)
    assert rock.isip_escalation(isip) == pytest.approx([4209.47, 418.386, 2.8154], rel=1e-3)


def test_s1_b09_log_log_slopes_of_a_tip_screen_out() -> None:
    time = np.array([10, 20, 30, 40, 50, 60, 65, 70, 75, 80], dtype=float)
    net = np.array([300.0, 344.61, 373.72, 395.85, 413.92, 429.29, 465.06, 500.84, 536.61, 572.39])
    assert rock.log_log_slope(time[:6], net[:6]) == pytest.approx(0.199999, abs=1e-3)
    assert rock.log_log_slope(time[5:], net[5:]) == pytest.approx(1.00002, abs=1e-3)
