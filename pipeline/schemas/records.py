"""Recorded signals: one row per sample. Ranges are from common practice."""

from __future__ import annotations

from pipeline.schemas.base import MOST_NUMBER, Landed, Table, instant, integer, quantity, text


class Treatment(Landed):
    """One sample of pumping a stage; void samples are null."""

    well_id = text("id of the well in the lake", key=True)
    stage = integer("stage, counted from the toe", key=True, lowest=1, highest=MOST_NUMBER)
    time = instant("time of the sample", key=True)
    treating_pressure_psi = quantity("psi", "surface treating pressure", soft=(-50.0, 12500.0), hard=(-250.0, 20000.0))
    slurry_rate_bpm = quantity("bpm", "slurry rate", soft=(-0.5, 130.0), hard=(-2.0, 200.0))
    clean_rate_bpm = quantity("bpm", "clean rate", soft=(-0.5, 130.0), hard=(-2.0, 200.0))
    proppant_conc_ppa = quantity("ppa", "proppant added per gallon of clean fluid", soft=(-0.2, 6.0), hard=(-0.5, 20.0))
    friction_reducer_gpt = quantity("gpt", "friction reducer loading", soft=(0.0, 4.0), hard=(0.0, 20.0))
    downhole_pressure_psi = quantity(
        "psi", "pressure at a gauge in the well", soft=(0.0, 20000.0), hard=(-250.0, 40000.0)
    )
    downhole_temperature_degf = quantity(
        "degF", "temperature at a gauge in the well", soft=(32.0, 400.0), hard=(-60.0, 700.0)
    )


class Coil(Landed):
    """One sample of a coil run; void samples are null."""

    well_id = text("id of the well in the lake", key=True)
    run = integer("coil run, in chronological order", key=True, lowest=1, highest=MOST_NUMBER)
    time = instant("time of the sample", key=True)
    depth_ft = quantity("ft", "coil depth", soft=(-10.0, 30000.0), hard=(-50.0, 40000.0), depth=True)
    weight_lbf = quantity("lbf", "coil weight", soft=(-20000.0, 90000.0), hard=(-60000.0, 200000.0))
    circulating_pressure_psi = quantity(
        "psi", "coil circulating pressure", soft=(-50.0, 10000.0), hard=(-100.0, 15000.0)
    )
    wellhead_pressure_psi = quantity("psi", "wellhead pressure", soft=(-50.0, 8000.0), hard=(-100.0, 15000.0))
    pump_rate_bpm = quantity("bpm", "coil pump rate", soft=(-0.2, 8.0), hard=(-0.5, 20.0))
    return_rate_bpm = quantity("bpm", "return rate", soft=(-0.2, 8.0), hard=(-0.5, 20.0))
    sand_conc_ppa = quantity("ppa", "sand in the fluid pumped through the coil", soft=(-0.2, 3.0), hard=(-0.5, 20.0))
    bypass_open = quantity("ratio", "1 if the bypass above the motor is open, else 0", hard=(0.0, 1.0))


TREATMENT = Table("treatment", Treatment, "a sample of pumping", ("well_id",), ("stage", "time"))
COIL = Table("coil", Coil, "a sample of a coil run", ("well_id",), ("run", "time"))
