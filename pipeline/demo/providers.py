"""Write the files of three synthetic data providers, and the team's own tables."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import polars as pl
import xlsxwriter

from pipeline.demo.basin import ZONE, Well
from pipeline.demo.mess import VOID
from pipeline.units import conversion

PROVIDERS = (
    "larkspoke", "larkspoke", "tallowmere", "quernby", "tallowmere", "quernby", "larkspoke", "tallowmere",
)  # fmt: skip
"""Data provider of each pad's fleet."""
COIL_PROVIDER = {"Finch": "larkspoke", "Gannet": "tallowmere"}


def _expr(column: str, source: str, target: str, decimals: int) -> pl.Expr:
    value = pl.col(column)
    factor = conversion(source, target).factor
    return pl.when(value == VOID).then(VOID).otherwise((value * factor).round(decimals))


def _clock(start: datetime) -> pl.Expr:
    return pl.lit(start) + pl.duration(seconds=pl.col("second"))


def write_stage(folder: Path, well: Well, stage: int, start: datetime, frame: pl.DataFrame, suffix: str = "") -> Path:
    """Write a stage's record in the format of the fleet's provider; return the file."""
    provider = PROVIDERS[well.pad_number]
    target = folder / "treatment" / provider
    target.mkdir(parents=True, exist_ok=True)
    if provider == "larkspoke":
        return _larkspoke_stage(target, well, stage, start, frame, suffix)
    if provider == "tallowmere":
        return _tallowmere_stage(target, well, stage, start, frame, suffix)
    return _quernby_stage(target, well, stage, start, frame, suffix)


def _larkspoke_stage(folder: Path, well: Well, stage: int, start: datetime, frame: pl.DataFrame, suffix: str) -> Path:
    """Write field units, a units row, local times in day/month order."""
    path = folder / f"{well.aliases[0].replace('#', '')} stage {stage:02d}{suffix}.csv"
    table = frame.select(
        _clock(start).dt.convert_time_zone(ZONE).dt.strftime("%d/%m/%Y %H:%M:%S").alias("Clock"),
        pl.col("pressure").round(1).alias("Treating pressure"),
        pl.col("pressure_2").round(1).alias("Treating pressure 2"),
        pl.col("rate").round(2).alias("Slurry rate"),
        pl.col("clean").round(2).alias("Clean rate"),
        pl.col("conc").round(3).alias("Proppant conc"),
        pl.col("reducer").round(3).alias("Friction reducer"),
        pl.col("total").round(1).alias("Clean total"),
    )
    text = table.write_csv()
    head, body = text.split("\n", 1)
    path.write_text(f"{head}\nd/m/y h:m:s,psi,psi,bpm,bpm,ppa,gpt,bbl\n{body}", encoding="utf-8")
    return path


def _tallowmere_stage(folder: Path, well: Well, stage: int, start: datetime, frame: pl.DataFrame, suffix: str) -> Path:
    """Write metric units, semicolons, decimal commas, UTC."""
    path = folder / f"{well.aliases[1]}_s{stage:02d}{suffix}.csv"
    frame.select(
        _clock(start).dt.strftime("%Y-%m-%dT%H:%M:%SZ").alias("utc"),
        _expr("pressure", "psi", "bar", 3).alias("pressure [bar]"),
        _expr("rate", "bpm", "m**3/min", 4).alias("slurry [m3/min]"),
        _expr("clean", "bpm", "m**3/min", 4).alias("clean [m3/min]"),
        _expr("conc", "ppa", "kg/m**3", 2).alias("proppant [kg/m3 clean]"),
        pl.col("reducer").round(3).alias("reducer [L/m3]"),
    ).write_csv(path, separator=";", decimal_comma=True)
    return path


def _quernby_stage(folder: Path, well: Well, stage: int, start: datetime, frame: pl.DataFrame, suffix: str) -> Path:
    """Write header lines, a local start time, elapsed seconds."""
    path = folder / f"{well.well_id}.{stage:02d}{suffix}.txt"
    local = start.astimezone(ZoneInfo(ZONE)).strftime("%Y-%m-%d %H:%M:%S")
    body = frame.select(
        pl.col("second").alias("elapsed"),
        pl.col("pressure").round(1).alias("p_surf"),
        pl.col("rate").round(2).alias("q_slurry"),
        pl.col("conc").round(3).alias("c_added"),
    ).write_csv(separator="\t")
    path.write_text(
        f"record of fracturing stage\nwell\t{well.name}\nstage\t{stage}\nstart\t{local}\n"
        f"units\ts\tpsi\tbpm\tppa\n{body}", encoding="utf-8",
    )  # fmt: skip
    return path


def write_coil(folder: Path, well: Well, run: int, start: datetime, frame: pl.DataFrame) -> Path:
    """Write a coil run's record in the format of the crew's provider; return the file."""
    provider = COIL_PROVIDER[well.coil_crew]
    target = folder / "coil" / provider
    target.mkdir(parents=True, exist_ok=True)
    path = target / f"{well.well_id}_run{run}.csv"
    if provider == "larkspoke":
        table = frame.select(
            _clock(start).dt.convert_time_zone(ZONE).dt.strftime("%d/%m/%Y %H:%M:%S").alias("Clock"),
            pl.col("depth").round(1).alias("Depth"),
            pl.col("weight").round(0).alias("Weight"),
            pl.col("pressure").round(0).alias("Circulating pressure"),
            pl.col("wellhead").round(0).alias("Wellhead pressure"),
            pl.col("pump").round(2).alias("Pump rate"),
            pl.col("returns").round(2).alias("Return rate"),
            pl.col("sand").round(2).alias("Sand"),
            pl.col("bypass").cast(pl.Int8).alias("Bypass"),
        )
        head, body = table.write_csv().split("\n", 1)
        path.write_text(f"{head}\nd/m/y h:m:s,ft,lbf,psi,psi,bpm,bpm,ppa,\n{body}", encoding="utf-8")
        return path
    frame.select(
        _clock(start).dt.strftime("%Y-%m-%dT%H:%M:%SZ").alias("utc"),
        _expr("depth", "ft", "m", 2).alias("depth [m]"),
        _expr("weight", "lbf", "daN", 0).alias("weight [daN]"),
        _expr("pressure", "psi", "bar", 2).alias("circulating [bar]"),
        _expr("wellhead", "psi", "bar", 2).alias("wellhead [bar]"),
        _expr("pump", "bpm", "m**3/min", 4).alias("pump [m3/min]"),
        _expr("returns", "bpm", "m**3/min", 4).alias("return [m3/min]"),
        _expr("sand", "ppa", "kg/m**3", 1).alias("sand [kg/m3]"),
    ).write_csv(path, separator=";", decimal_comma=True)
    return path


def write_table(path: Path, rows: Sequence[dict[str, object]]) -> None:
    """Write one of the team's tables as CSV; times in UTC."""
    path.parent.mkdir(parents=True, exist_ok=True)
    frame = pl.DataFrame([{key: _plain(value) for key, value in row.items()} for row in rows], infer_schema_length=None)
    frame.write_csv(path)


def write_workbook(path: Path, sheets: dict[str, Sequence[dict[str, object]]]) -> None:
    """Write tables as the sheets of one workbook, with headers in the first row."""
    path.parent.mkdir(parents=True, exist_ok=True)
    stamp = datetime(2023, 7, 1)
    with xlsxwriter.Workbook(str(path), {"strings_to_formulas": False, "strings_to_urls": False}) as book:
        book.set_properties({"title": "Designs", "created": stamp})
        for name, rows in sheets.items():
            sheet = book.add_worksheet(name)
            header = list(rows[0])
            sheet.write_row(0, 0, header)
            for number, row in enumerate(rows, start=1):
                for column, key in enumerate(header):
                    value = _plain(row[key])
                    if value is not None:
                        sheet.write(number, column, value)


def _plain(value: object) -> object:
    if isinstance(value, datetime):
        return value.astimezone(UTC).strftime("%Y-%m-%d %H:%M:%S")
    if value is not None and not isinstance(value, str | int | float | bool):
        return str(value)
    return value
