"""A stage's or a coil run's record as LAS 2.0 (Canadian Well Logging Society), with its picks as parameters."""

from __future__ import annotations

import io
from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

import polars as pl

from pipeline.schemas.base import Table
from pipeline.units import plain_number, without_unit

NULL = -999.25


def las_record(well: str, number: str, samples: pl.DataFrame, table: Table, picks: Iterable[Mapping[str, Any]]) -> str:
    """Return a record as LAS, indexed by elapsed time.

    Parameters
    ----------
    well : str
        Its name.
    number : str
        Stage or run, such as ``STAGE 7``.
    samples : polars.DataFrame
        Rows of ``table`` of one stage or run, in order of time.
    table : Table
    picks : iterable of mapping
        Rows of `picks`; one with a value becomes a parameter with its confidence.
    """
    import lasio

    las = lasio.LASFile()
    start: datetime = samples["time"][0]
    las.well["WELL"] = lasio.HeaderItem("WELL", value=_line(well), descr="WELL")
    las.well["DATE"] = lasio.HeaderItem("DATE", value=f"{start:%Y-%m-%d %H:%M:%S}", descr="START, UTC")
    las.well["NULL"] = lasio.HeaderItem("NULL", value=NULL, descr="NULL VALUE")
    las.params["JOB"] = lasio.HeaderItem("JOB", value=number, descr=number.split()[0])
    for row in picks:
        amended = row["amended_value"] is not None
        value = row["amended_value"] if amended else row["value"]
        if value is not None:
            name, said = row["pick"].upper(), "amended by hand" if amended else f"confidence {row['confidence']}"
            las.params[name] = lasio.HeaderItem(name, unit=row["unit"] or "", value=plain_number(value), descr=said)
    elapsed = (samples["time"] - start).dt.total_microseconds().to_numpy() / 1e6
    las.append_curve("ETIM", elapsed, unit="s", descr="elapsed time")
    for name in samples.columns:
        unit = table.unit(name) if name in table.columns else ""
        if not unit or samples[name].null_count() == samples.height:
            continue
        values = samples[name].cast(pl.Float64).fill_null(NULL).to_numpy()
        las.append_curve(
            without_unit(name, unit).upper(), values, unit=unit, descr=str(table.columns[name].description or "")
        )
    held = io.StringIO()
    las.write(
        held, version=2.0, fmt="%.10g", column_fmt={0: "%.3f"}, STRT=0.0, STOP=float(elapsed[-1]), len_numeric_field=-1
    )
    return held.getvalue()


def _line(text: str) -> str:
    """Return a text that stays within its header line."""
    return " ".join(text.replace(":", " ").split())
