"""Gradients, initiation and the G-function against SOURCES.md and SOURCES.md."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.physics import rock


def test_isip_gradient() -> None:
    assert rock.pressure_gradient_psi_ft(6241.0, 8.34, 7456.0) == pytest.approx(1.27029, rel=1e-5)  # SOURCES.md
    # S1-B04, printed with 0.052: (4650 + 0.052*8.34*9200)/9200
    book = rock.pressure_gradient_psi_ft(4650.0, 8.34 * 0.052 / (12 / 231), 9200.0)
    assert book == pytest.approx(0.939115, rel=1e-5)


# S1-B05: Nolte, SPE 8341 (1979)
LOW = [0.0, 0.1099221, 0.2072273, 0.4626825, 0.8209236, 1.406382, 2.321923, 4.27231, 6.553103]
HIGH = [0.0, 0.09060276, 0.1736728, 0.3987017, 0.7248367, 1.27324, 2.151592, 4.059696, 6.315946]
TIMES = np.array([0.0, 0.05, 0.1, 0.25, 0.5, 1.0, 2.0, 5.0, 10.0])


def test_s1_b04_net_pressure_at_shut_in() -> None:
    bottom = rock.pressure_gradient_psi_ft(4650.0, 8.34 * 0.052 / (12 / 231), 9200.0) * 9200.0
    assert bottom - 7350.0 == pytest.approx(1289.86, rel=1e-5)
