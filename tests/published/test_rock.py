"""Gradients, initiation and the G-function against trade.md section 5 and checks.md part B."""

from __future__ import annotations

import numpy as np
import pytest

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
