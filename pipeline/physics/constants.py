"""Exact unit factors (NIST SP 811, appendix B) and the field-unit constants derived from them.

Field handbooks print rounded constants (0.052, 0.2369, 40.8 ...). The code uses the exact ones below; a rounded one
is used only in a test that reproduces a hand calculation.
"""

from __future__ import annotations

import math

FT_M = 0.3048
IN_M = 0.0254
LBM_KG = 0.45359237
GAL_M3 = 3.785411784e-3
GAL_PER_BBL = 42.0
BBL_M3 = GAL_PER_BBL * GAL_M3
STANDARD_GRAVITY_M_S2 = 9.80665
LBF_N = LBM_KG * STANDARD_GRAVITY_M_S2
PSI_PA = LBF_N / IN_M**2
PPG_KG_M3 = LBM_KG / GAL_M3
BPM_M3_S = BBL_M3 / 60.0
GPM_M3_S = GAL_M3 / 60.0
CP_PA_S = 1e-3

WATER_DENSITY_PPG = 1000.0 / PPG_KG_M3
"""Density of water at 1,000 kg/m3 [lbm/gal]."""

HYDROSTATIC_PSI_PER_PPG_FT = 12.0 / 231.0
"""Pressure of one foot of fluid at one lbm/gal [psi]."""

PERFORATION_FRICTION = 8.0 / math.pi**2 * PPG_KG_M3 * BPM_M3_S**2 / IN_M**4 / PSI_PA
"""Constant of perforation friction in lbm/gal, bbl/min, in, psi (0.237636)."""

DIESEL_MMBTU_PER_GAL = 0.138
"""Heat of distillate fuel oil no. 2 (40 CFR 98 subpart C, table C-1; from memory) [mmBtu/gal]."""

DIESEL_CO2_KG_PER_MMBTU = 73.96
"""Carbon dioxide of distillate fuel oil no. 2 (40 CFR 98 subpart C, table C-1; from memory) [kg/mmBtu]."""

HP_HOUR_BTU = 550.0 * 3600.0 * LBF_N * FT_M / 1055.05585262
"""Btu (international table) per horsepower-hour (2544.43)."""

HORSEPOWER_PSI_BPM = 33000.0 / (144.0 * GAL_PER_BBL * 231.0 / 1728.0)
"""psi times bbl/min per horsepower (40.8163)."""

CAPACITY_IN2_FT_PER_BBL = 4.0 * BBL_M3 / (math.pi * IN_M**2 * FT_M)
"""Diameter squared times length (square inches times feet) of a round pipe that holds one barrel (1029.414)."""

NOZZLE_GPM = 2.0 * IN_M**4 * PSI_PA / (PPG_KG_M3 * GPM_M3_S**2)
"""Constant of nozzle pressure drop in lbm/gal, gal/min, in2, psi (12033.93)."""

NOZZLE_VELOCITY_FT_S = GPM_M3_S / IN_M**2 / FT_M
"""Velocity in ft/s of one gal/min through one square inch (0.320833)."""

JET_PSI = PPG_KG_M3 * FT_M**2 / (2.0 * PSI_PA)
"""Velocity head in psi of one lbm/gal at one ft/s (8.072974e-4)."""
