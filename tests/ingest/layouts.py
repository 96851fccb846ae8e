"""Thirty invented layouts of providers' files, with what their columns are: what `heelward inspect` is tried on."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta

import numpy as np
import xlsxwriter

ROWS = 420
START = datetime(2023, 3, 17, 22, 56, 12)


@dataclass(frozen=True)
class Layout:
    """A file, and what it is.

    Attributes
    ----------
    name : str
        Name of the file.
    data : bytes
    lands : str
        Table of the lake.
    columns : dict of str to (heading, factor)
        What each lake column is taken from, and the value in the lake's unit of one in the file's.
    first : datetime, optional
        Time of the first row, on the file's clock.
    well, number : str, int, optional
        What the file or its name says.
    """

    name: str
    data: bytes
    lands: str
    columns: dict[str, tuple[str, float]]
    first: datetime | None = None
    well: str | None = None
    number: int | None = None
    asks: set[str] = field(default_factory=set)


def job() -> dict[str, np.ndarray]:
    """A small fracturing stage in the lake's units."""
    t = np.arange(ROWS)
    rate = np.interp(t, [0, 30, 60, 350, 360, ROWS], [0, 12, 82, 82, 0, 0])
    conc = np.where((t > 120) & (t < 320), np.interp(t, [120, 320], [0.25, 2.5]), 0.0)
    pressure = 1200.0 + 62.0 * rate + 25.0 * np.sin(t / 7.0)
    clean = rate / (1.0 + 0.0456 * conc)
    return {
        "pressure": pressure, "rate": rate, "clean": clean, "conc": conc, "fr": np.where(rate > 20, 0.9, 0.0),
        "total": np.cumsum(rate) / 60.0, "annulus": 300.0 + 2.0 * np.sin(t / 50.0), "backup": pressure + 18.0,
        "bottom_conc": np.roll(conc, 40), "bottom": pressure + 3900.0,
    }  # fmt: skip


def run() -> dict[str, np.ndarray]:
    """A small coil run in the lake's units."""
    t = np.arange(ROWS)
    depth = np.interp(t, [0, 180, 260, ROWS], [9000.0, 15200.0, 15200.0, 9500.0])
    return {
        "depth": depth, "weight": 21000.0 + 1.1 * (depth - 9000.0) + 900.0 * np.sin(t / 11.0),
        "circ": 4200.0 + 60.0 * np.sin(t / 9.0), "wellhead": 1750.0 + 20.0 * np.sin(t / 30.0),
        "pump": 2.6 + 0.1 * np.sin(t / 20.0), "returns": 2.5 + 0.1 * np.sin(t / 17.0), "speed": np.gradient(depth) * 60.0,
    }  # fmt: skip


def times(written: str, step_s: float = 1.0) -> list[str]:
    return [(START + timedelta(seconds=step_s * i)).strftime(written) for i in range(ROWS)]


def text(value: float, decimal: str = ".", digits: int = 2, thousands: str = "") -> str:
    shown = f"{value:,.{digits}f}"
    return shown.replace(",", "\x00").replace(".", decimal).replace("\x00", thousands)


def delimited(
    headings: list[str], columns: list[list[str]], mark: str = ",", *, above: list[str] | None = None,
    units: list[str] | None = None, below: list[str] | None = None, encoding: str = "utf-8", end: str = "\n",
    insert: dict[int, str] | None = None,
) -> bytes:  # fmt: skip
    lines = [*(above or []), mark.join(headings), *([mark.join(units)] if units else []), *(below or [])]
    for at, row in enumerate(zip(*columns, strict=True)):
        if insert and at in insert:
            lines.append(insert[at])
        lines.append(mark.join(row))
    return (end.join(lines) + end).encode(encoding)


def cells(values: np.ndarray, factor: float = 1.0, **how: object) -> list[str]:
    return [text(float(value) * factor, **how) for value in values]  # type: ignore[arg-type]


def sheet(rows: dict[str, list[list[object]]]) -> bytes:
    held = io.BytesIO()
    with xlsxwriter.Workbook(held, {"in_memory": True}) as book:
        for name, content in rows.items():
            page = book.add_worksheet(name)
            for index, row in enumerate(content):
                page.write_row(index, 0, row)
    return held.getvalue()


M3, PA, KG = 6.289810770432104, 145.03773773020922, 0.008345404452019332
"""bbl per m3, psi per MPa, ppa per kg/m3."""


def layouts() -> list[Layout]:
    """All layouts."""
    return [make() for make in MAKERS]


MAKERS: list[Callable[[], Layout]] = []


def layout(make: Callable[[], Layout]) -> Callable[[], Layout]:
    MAKERS.append(make)
    return make


@layout
def plain() -> Layout:
    j = job()
    data = delimited(
        ["Time", "Treating Pressure (psi)", "Slurry Rate (bpm)", "Clean Rate (bpm)", "Prop Conc (ppa)"],
        [times("%Y-%m-%d %H:%M:%S"), *(cells(j[name]) for name in ("pressure", "rate", "clean", "conc"))],
    )
    return Layout(
        "Bittern 2H stage 4.csv", data, "treatment",
        {"treating_pressure_psi": ("Treating Pressure (psi)", 1), "slurry_rate_bpm": ("Slurry Rate (bpm)", 1),
         "clean_rate_bpm": ("Clean Rate (bpm)", 1), "proppant_conc_ppa": ("Prop Conc (ppa)", 1)}, START, "Bittern 2H", 4,
    )  # fmt: skip


@layout
def units_row_with_remarks() -> Layout:
    j = job()
    data = delimited(
        ["TIME", "TR PRESS", "ANN PRESS", "SLUR RATE", "CLN RATE", "PROP CON", "SLUR TOT"],
        [times("%d:%m:%Y:%H:%M:%S"), *(cells(j[name]) for name in ("pressure", "annulus", "rate", "clean", "conc", "total"))],
        units=["DD:MM:YYYY:HH:MM:SS", "PSI", "PSI", "B/M", "B/M", "PPAC", "BBL"], above=["# acquisition"],
        insert={100: "#,pumps on line", 300: "#,cut sand"},
    )  # fmt: skip
    return Layout(
        "BITTERN 3H STG 12.csv", data, "treatment",
        {"treating_pressure_psi": ("TR PRESS", 1), "slurry_rate_bpm": ("SLUR RATE", 1), "clean_rate_bpm": ("CLN RATE", 1),
         "proppant_conc_ppa": ("PROP CON", 1)}, START, "BITTERN 3H", 12,
    )  # fmt: skip


@layout
def metric_semicolons() -> Layout:
    j = job()
    data = delimited(
        ["Date", "Pressure", "Slurry flow", "Clean flow", "Sand concentration"],
        [times("%d.%m.%Y %H:%M:%S"), cells(j["pressure"], 1 / PA * 10, decimal=","), cells(j["rate"], 1 / M3, decimal=",", digits=3),
         cells(j["clean"], 1 / M3, decimal=",", digits=3), cells(j["conc"], 1 / KG, decimal=",")],
        ";", units=["", "bar", "m³/min", "m³/min", "kg/m³"], encoding="latin-1",
    )  # fmt: skip
    return Layout(
        "Wigeon-1_s07.csv", data, "treatment",
        {"treating_pressure_psi": ("Pressure", PA / 10), "slurry_rate_bpm": ("Slurry flow", M3), "clean_rate_bpm": ("Clean flow", M3),
         "proppant_conc_ppa": ("Sand concentration", KG)}, START, "Wigeon-1", 7,
    )  # fmt: skip


@layout
def spanish() -> Layout:
    j = job()
    data = delimited(
        ["Fecha y hora", "Presión de tratamiento [psi]", "Presión anular [psi]", "Caudal de lechada [bpm]", "Caudal limpio [bpm]",
         "Concentración de arena [lb/gal]"],
        [times("%d/%m/%Y %H:%M:%S"), *(cells(j[name]) for name in ("pressure", "annulus", "rate", "clean", "conc"))], ";",
        encoding="cp1252",
    )  # fmt: skip
    return Layout(
        "Pozo Garza 11 etapa 3.csv", data, "treatment",
        {"treating_pressure_psi": ("Presión de tratamiento [psi]", 1), "slurry_rate_bpm": ("Caudal de lechada [bpm]", 1),
         "clean_rate_bpm": ("Caudal limpio [bpm]", 1), "proppant_conc_ppa": ("Concentración de arena [lb/gal]", 1)}, START,
        "Pozo Garza 11", 3,
    )  # fmt: skip


@layout
def french() -> Layout:
    j = job()
    months = {"Mar": "mars"}
    stamps = [stamp.replace("Mar", months["Mar"]) for stamp in times("%d-%b-%Y %H:%M:%S")]
    data = delimited(
        ["Date heure", "Pression de traitement (MPa)", "Débit coulis (m3/min)", "Débit propre (m3/min)", "Concentration sable (kg/m3)"],
        [stamps, cells(j["pressure"], 1 / PA, decimal=","), cells(j["rate"], 1 / M3, decimal=",", digits=3),
         cells(j["clean"], 1 / M3, decimal=",", digits=3), cells(j["conc"], 1 / KG, decimal=",", digits=1)], ";",
    )  # fmt: skip
    return Layout(
        "Puits Héron 4 étape 6.txt", data, "treatment",
        {"treating_pressure_psi": ("Pression de traitement (MPa)", PA), "slurry_rate_bpm": ("Débit coulis (m3/min)", M3),
         "clean_rate_bpm": ("Débit propre (m3/min)", M3), "proppant_conc_ppa": ("Concentration sable (kg/m3)", KG)}, START,
        "Puits Héron 4", 6,
    )  # fmt: skip


@layout
def elapsed_with_head() -> Layout:
    j = job()
    data = delimited(
        ["Elapsed Time", "STP", "Slurry Rate", "Inline Prop Conc", "BH Prop Conc", "BHP"],
        [[f"{i}" for i in range(ROWS)], *(cells(j[name]) for name in ("pressure", "rate", "conc", "bottom_conc", "bottom"))],
        "\t", above=["Well Name:\tPipit 5H", "Stage Number:\t9", "Start Time:\t2023-03-17 22:56:12", ""],
        units=["s", "psi", "bpm", "ppa", "ppa", "psi"],
    )  # fmt: skip
    return Layout(
        "export_0009.txt", data, "treatment",
        {"treating_pressure_psi": ("STP", 1), "slurry_rate_bpm": ("Slurry Rate", 1), "proppant_conc_ppa": ("Inline Prop Conc", 1)},
        START, "Pipit 5H", 9, {"time"},
    )  # fmt: skip


@layout
def date_and_time_apart() -> Layout:
    j = job()
    data = delimited(
        ["Job Date", "Job Time", "Main Pressure", "Total Slurry Rate", "Clean Rate", "Proppant Conc.", "Friction Reducer"],
        [times("%m/%d/%Y"), times("%I:%M:%S %p"), *(cells(j[name]) for name in ("pressure", "rate", "clean", "conc", "fr"))],
        units=["mm/dd/yyyy", "hh:mm:ss", "psig", "bbl/min", "bbl/min", "lb/gal", "gpt"],
    )  # fmt: skip
    return Layout(
        "Osprey Unit 7H_Stage_21.csv", data, "treatment",
        {"treating_pressure_psi": ("Main Pressure", 1), "slurry_rate_bpm": ("Total Slurry Rate", 1), "clean_rate_bpm": ("Clean Rate", 1),
         "proppant_conc_ppa": ("Proppant Conc.", 1), "friction_reducer_gpt": ("Friction Reducer", 1)}, START, "Osprey Unit 7H", 21,
    )  # fmt: skip


@layout
def thousands_of_points() -> Layout:
    j = job()
    data = delimited(
        ["Time", "Wellhead Pressure kPa", "Slurry Rate m3/min", "Clean Rate m3/min", "Prop Conc kg/m3"],
        [times("%Y/%m/%d %H:%M:%S"), cells(j["pressure"], 1000 / PA, digits=0, thousands=" "), cells(j["rate"], 1 / M3, digits=3),
         cells(j["clean"], 1 / M3, digits=3), cells(j["conc"], 1 / KG, digits=1)],
    )  # fmt: skip
    return Layout(
        "Merlin 14 - Stage 2 - treatment.csv", data, "treatment",
        {"treating_pressure_psi": ("Wellhead Pressure kPa", PA / 1000), "slurry_rate_bpm": ("Slurry Rate m3/min", M3),
         "clean_rate_bpm": ("Clean Rate m3/min", M3), "proppant_conc_ppa": ("Prop Conc kg/m3", KG)}, START, "Merlin 14", 2,
    )  # fmt: skip


@layout
def rule_lines() -> Layout:
    j = job()
    data = delimited(
        ["DateTime", "TrtPress", "SlurryRate", "CleanRate", "PropConc"],
        [times("%Y-%m-%dT%H:%M:%SZ"), *(cells(j[name]) for name in ("pressure", "rate", "clean", "conc"))], "|",
        above=["Post job data", "====================", "Well | Siskin 9", "Stage | 17", ""],
        units=["UTC", "psi", "bpm", "bpm", "ppa"], below=["---------|--------|--------|--------|--------"],
    )  # fmt: skip
    return Layout(
        "data.txt", data, "treatment",
        {"treating_pressure_psi": ("TrtPress", 1), "slurry_rate_bpm": ("SlurryRate", 1), "clean_rate_bpm": ("CleanRate", 1),
         "proppant_conc_ppa": ("PropConc", 1)}, START, "Siskin 9", 17,
    )  # fmt: skip


@layout
def two_heading_lines() -> Layout:
    j = job()
    data = delimited(
        ["", "Pressure", "Pressure", "Rate", "Rate", "Conc"],
        [times("%m/%d/%y %H:%M:%S"), *(cells(j[name]) for name in ("pressure", "annulus", "rate", "clean", "conc"))],
        above=["Time,Treating,Annulus,Slurry,Clean,Proppant"], units=["", "(psi)", "(psi)", "(bpm)", "(bpm)", "(ppa)"],
    )  # fmt: skip
    return Layout(
        "Teal 1H-Stg05.csv", data, "treatment",
        {"treating_pressure_psi": ("Pressure", 1), "slurry_rate_bpm": ("Rate", 1), "clean_rate_bpm": ("Rate", 1),
         "proppant_conc_ppa": ("Conc", 1)}, START, "Teal 1H", 5,
    )  # fmt: skip


@layout
def repeated_headings_and_utf16() -> Layout:
    j = job()
    headings = ["Time", "Treating Pressure", "Slurry Rate", "Proppant Concentration"]
    data = delimited(
        headings, [times("%Y-%m-%d %H:%M:%S"), *(cells(j[name]) for name in ("pressure", "rate", "conc"))], ",",
        units=["", "psi", "bpm", "ppa"], encoding="utf-16", insert={200: ",".join(headings), 400: ",".join(headings)},
    )  # fmt: skip
    return Layout(
        "Avocet 6H Stage 8.csv", data, "treatment",
        {"treating_pressure_psi": ("Treating Pressure", 1), "slurry_rate_bpm": ("Slurry Rate", 1),
         "proppant_conc_ppa": ("Proppant Concentration", 1)}, START, "Avocet 6H", 8,
    )  # fmt: skip


@layout
def midnight() -> Layout:
    j = job()
    data = delimited(
        ["Clock", "Pump Pressure", "Flow Rate", "Sand"],
        [times("%H:%M:%S", 20.0), *(cells(j[name]) for name in ("pressure", "rate", "conc"))],
        above=["Date: 17.03.2023", "Well: Linnet 2H", "Stage: 30"], units=["hh:mm:ss", "psi", "bpm", "ppa"],
    )  # fmt: skip
    return Layout(
        "night shift.csv", data, "treatment",
        {"treating_pressure_psi": ("Pump Pressure", 1), "slurry_rate_bpm": ("Flow Rate", 1), "proppant_conc_ppa": ("Sand", 1)},
        START, "Linnet 2H", 30, {"time"},
    )  # fmt: skip


@layout
def no_units() -> Layout:
    j = job()
    data = delimited(
        ["time", "treating_pressure", "slurry_rate", "clean_rate", "proppant_concentration"],
        [times("%Y-%m-%d %H:%M:%S"), *(cells(j[name]) for name in ("pressure", "rate", "clean", "conc"))],
    )
    return Layout(
        "knot-1h_stage-3.csv", data, "treatment",
        {"treating_pressure_psi": ("treating_pressure", 1), "slurry_rate_bpm": ("slurry_rate", 1), "clean_rate_bpm": ("clean_rate", 1),
         "proppant_conc_ppa": ("proppant_concentration", 1)}, START, "knot-1h", 3,
        {"treating_pressure_psi", "slurry_rate_bpm", "clean_rate_bpm", "proppant_conc_ppa"},
    )  # fmt: skip


@layout
def units_that_lie() -> Layout:
    j = job()
    data = delimited(
        ["Time", "Treating Pressure", "Slurry Rate", "Prop Conc"],
        [times("%Y-%m-%d %H:%M:%S"), cells(j["pressure"], 1000 / PA, digits=0), cells(j["rate"]), cells(j["conc"])],
        units=["", "psi", "bpm", "ppa"],
    )
    return Layout(
        "Plover 8H stage 1.csv", data, "treatment",
        {"treating_pressure_psi": ("Treating Pressure", PA / 1000), "slurry_rate_bpm": ("Slurry Rate", 1), "proppant_conc_ppa": ("Prop Conc", 1)},
        START, "Plover 8H", 1, {"treating_pressure_psi"},
    )  # fmt: skip


@layout
def litres() -> Layout:
    j = job()
    data = delimited(
        ["Timestamp", "Surface Press (KPA)", "Slurry Rate (L/min)", "Clean Rate (LPM)", "Surf Prop Conc (kgPA)", "Slurry Vol (m3)"],
        [times("%Y-%m-%d %H:%M:%S"), cells(j["pressure"], 1000 / PA, digits=1), cells(j["rate"], 1000 / M3, digits=1),
         cells(j["clean"], 1000 / M3, digits=1), cells(j["conc"], 1 / KG, digits=1), cells(j["total"], 1 / M3)],
    )  # fmt: skip
    return Layout(
        "100-06-21-031-05W5 Stage 11.csv", data, "treatment",
        {"treating_pressure_psi": ("Surface Press (KPA)", PA / 1000), "slurry_rate_bpm": ("Slurry Rate (L/min)", M3 / 1000),
         "clean_rate_bpm": ("Clean Rate (LPM)", M3 / 1000), "proppant_conc_ppa": ("Surf Prop Conc (kgPA)", KG)}, START,
        "100-06-21-031-05W5", 11,
    )  # fmt: skip


@layout
def two_transducers() -> Layout:
    j = job()
    data = delimited(
        ["Time", "Treating Pressure 1", "Treating Pressure 2", "Slurry Rate 1", "Prop Conc"],
        [times("%Y-%m-%d %H:%M:%S"), *(cells(j[name]) for name in ("pressure", "backup", "rate", "conc"))],
        units=["", "psi", "psi", "bpm", "ppa"],
    )
    return Layout(
        "Curlew 3H stage 15.csv", data, "treatment",
        {"treating_pressure_psi": ("Treating Pressure 1", 1), "slurry_rate_bpm": ("Slurry Rate 1", 1), "proppant_conc_ppa": ("Prop Conc", 1)},
        START, "Curlew 3H", 15, {"treating_pressure_psi"},
    )  # fmt: skip


@layout
def quoted() -> Layout:
    j = job()
    data = delimited(
        ['"Date/Time"', '"Treating Pressure, psi"', '"Slurry Rate, bpm"', '"Proppant Conc, ppa"', '"Comment"'],
        [[f'"{stamp}"' for stamp in times("%d-%b-%y %H:%M:%S")], *(cells(j[name]) for name in ("pressure", "rate", "conc")),
         ['""'] * ROWS], end="\r\n",
    )  # fmt: skip
    return Layout(
        "Dunlin 4H (Stage 6).csv", data, "treatment",
        {"treating_pressure_psi": ("Treating Pressure, psi", 1), "slurry_rate_bpm": ("Slurry Rate, bpm", 1),
         "proppant_conc_ppa": ("Proppant Conc, ppa", 1)}, START, None, 6,
    )  # fmt: skip


@layout
def voids() -> Layout:
    j = job()
    pressure = cells(j["pressure"])
    pressure[50:60] = ["-999.25"] * 10
    data = delimited(
        ["TIME", "TREATING_PRESSURE_PSI", "SLURRY_RATE_BPM", "CLEAN_RATE_BPM", "PROPPANT_CONC_PPA", "N2_RATE_SCFM"],
        [
            times("%Y-%m-%d %H:%M:%S.000"),
            pressure,
            *(cells(j[name]) for name in ("rate", "clean", "conc")),
            ["-999.25"] * ROWS,
        ],
    )
    return Layout(
        "GADWALL_1H_STAGE_22.csv", data, "treatment",
        {"treating_pressure_psi": ("TREATING_PRESSURE_PSI", 1), "slurry_rate_bpm": ("SLURRY_RATE_BPM", 1),
         "clean_rate_bpm": ("CLEAN_RATE_BPM", 1), "proppant_conc_ppa": ("PROPPANT_CONC_PPA", 1)}, START, "GADWALL_1H", 22,
    )  # fmt: skip


@layout
def offset_times() -> Layout:
    j = job()
    data = delimited(
        ["TIME", "TP (MPA)", "SR (M3/MIN)", "PC (KG/M3)"],
        [[f"{stamp}-0600" for stamp in times("%Y-%m-%dT%H:%M:%S")], cells(j["pressure"], 1 / PA), cells(j["rate"], 1 / M3, digits=3),
         cells(j["conc"], 1 / KG)],
    )  # fmt: skip
    return Layout(
        "Shrike 2 Stage 19.csv", data, "treatment",
        {"treating_pressure_psi": ("TP (MPA)", PA), "slurry_rate_bpm": ("SR (M3/MIN)", M3), "proppant_conc_ppa": ("PC (KG/M3)", KG)},
        START + timedelta(hours=6), "Shrike 2", 19, {"treating_pressure_psi", "slurry_rate_bpm", "proppant_conc_ppa"},
    )  # fmt: skip


@layout
def workbook_record() -> Layout:
    j = job()
    rows: list[list[object]] = [
        ["Stage report"],
        [],
        ["Time", "Treating Pressure", "Slurry Rate", "Prop Conc"],
        ["", "psi", "bpm", "ppa"],
    ]
    rows += [
        [stamp, *(round(float(j[name][i]), 2) for name in ("pressure", "rate", "conc"))]
        for i, stamp in enumerate(times("%Y-%m-%d %H:%M:%S"))
    ]
    return Layout(
        "Whimbrel 2H stage 10.xlsx", sheet({"notes": [["made by hand"]], "data": rows}), "treatment",
        {"treating_pressure_psi": ("Treating Pressure", 1), "slurry_rate_bpm": ("Slurry Rate", 1), "proppant_conc_ppa": ("Prop Conc", 1)},
        START, "Whimbrel 2H", 10,
    )  # fmt: skip


@layout
def coil_plain() -> Layout:
    r = run()
    data = delimited(
        ["Time", "CT Depth (ft)", "CT Weight (lbf)", "Circ Pressure (psi)", "Wellhead Pressure (psi)", "Pump Rate (bpm)",
         "Return Rate (bpm)", "CT Speed (ft/min)"],
        [times("%Y-%m-%d %H:%M:%S"), *(cells(r[name]) for name in ("depth", "weight", "circ", "wellhead", "pump", "returns", "speed"))],
    )  # fmt: skip
    return Layout(
        "Bittern 2H run 1.csv", data, "coil",
        {"depth_ft": ("CT Depth (ft)", 1), "weight_lbf": ("CT Weight (lbf)", 1), "circulating_pressure_psi": ("Circ Pressure (psi)", 1),
         "wellhead_pressure_psi": ("Wellhead Pressure (psi)", 1), "pump_rate_bpm": ("Pump Rate (bpm)", 1),
         "return_rate_bpm": ("Return Rate (bpm)", 1)}, START, "Bittern 2H", 1,
    )  # fmt: skip


@layout
def coil_metric() -> Layout:
    r = run()
    data = delimited(
        ["Date", "Time", "Depth", "Weight", "CircPress", "WHP", "FluidRate"],
        [times("%d/%m/%Y"), times("%H:%M:%S"), cells(r["depth"], 0.3048), cells(r["weight"], 4.4482216152605 / 10),
         cells(r["circ"], 1 / PA), cells(r["wellhead"], 1 / PA), cells(r["pump"], 1000 / M3)], ";",
        units=["", "", "m", "daN", "MPa", "MPa", "l/min"],
    )  # fmt: skip
    return Layout(
        "Wigeon-1 CT run 2.csv", data, "coil",
        {"depth_ft": ("Depth", 1 / 0.3048), "weight_lbf": ("Weight", 10 / 4.4482216152605), "circulating_pressure_psi": ("CircPress", PA),
         "wellhead_pressure_psi": ("WHP", PA), "pump_rate_bpm": ("FluidRate", M3 / 1000)}, START, "Wigeon-1", 2,
    )  # fmt: skip


@layout
def coil_thousand_pounds() -> Layout:
    r = run()
    data = delimited(
        ["ELAPSED", "COIL DEPTH", "HOOKLOAD", "CIRC PSI", "WHP PSI", "PUMP RATE", "RET RATE"],
        [[f"{i / 60:.4f}" for i in range(ROWS)], cells(r["depth"]), cells(r["weight"], 0.001, digits=3), cells(r["circ"]), cells(r["wellhead"]),
         cells(r["pump"], 42.0), cells(r["returns"], 42.0)], "\t",
        units=["min", "ft", "klbs", "psi", "psi", "gpm", "gpm"], above=["WELL: Pipit 5H", "RUN: 3", "START: 03/17/2023 22:56:12"],
    )  # fmt: skip
    return Layout(
        "ct_data.txt", data, "coil",
        {"depth_ft": ("COIL DEPTH", 1), "weight_lbf": ("HOOKLOAD", 1000), "circulating_pressure_psi": ("CIRC PSI", 1),
         "wellhead_pressure_psi": ("WHP PSI", 1), "pump_rate_bpm": ("PUMP RATE", 1 / 42), "return_rate_bpm": ("RET RATE", 1 / 42)},
        START, "Pipit 5H", 3, {"time"},
    )  # fmt: skip


@layout
def table_of_wells() -> Layout:
    data = (
        b"Well Name,Pad,Formation,Heel MD (ft),Toe MD (ft),TVD (ft),No. of Stages\n"
        b"Bittern 1H,Bittern,Upper Corbel,9800,17250,9240,38\nBittern 2H,Bittern,Upper Corbel,9790,17410,9260,39\n"
        b"Bittern 3H,Bittern,Lower Corbel,9850,17300,9310,38\n"
    )
    return Layout(
        "wells.csv", data, "wells",
        {"well_id": ("Well Name", 1), "pad": ("Pad", 1), "formation": ("Formation", 1), "heel_md_ft": ("Heel MD (ft)", 1),
         "toe_md_ft": ("Toe MD (ft)", 1), "tvd_ft": ("TVD (ft)", 1), "stage_count": ("No. of Stages", 1)},
    )  # fmt: skip


@layout
def table_of_stages() -> Layout:
    lines = [
        "Well,Stage,Design,Top Perf (m),Bottom Perf (m),Clusters,Total Holes,Entry Hole Diameter (mm),Design Rate (m3/min),Design Proppant (t)"
    ]
    lines += [f"Wigeon-1,{n},A,{4800 - 60 * n},{4850 - 60 * n},6,36,9.5,12.5,110" for n in range(1, 21)]
    return Layout(
        "stage design.csv", ("\n".join(lines) + "\n").encode(), "stages",
        {"well_id": ("Well", 1), "stage": ("Stage", 1), "design": ("Design", 1), "top_perf_ft": ("Top Perf (m)", 1 / 0.3048),
         "bottom_perf_ft": ("Bottom Perf (m)", 1 / 0.3048), "clusters": ("Clusters", 1), "holes_designed": ("Total Holes", 1),
         "hole_diameter_in": ("Entry Hole Diameter (mm)", 1 / 25.4), "designed_rate_bpm": ("Design Rate (m3/min)", M3),
         "designed_proppant_lbm": ("Design Proppant (t)", 2204.6226218487757)},
    )  # fmt: skip


@layout
def table_of_summaries() -> Layout:
    lines = ["Well Name;Stage No;ISIP (psi);Breakdown Pressure (psi);Avg Treating Pressure (psi);Max Treating Pressure (psi);"
             "Avg Slurry Rate (bpm);Max Rate (bpm);Total Clean Volume (bbl);Total Proppant (lb)"]  # fmt: skip
    lines += [
        f"Pipit 5H;{n};{4300 + 10 * n};{6900 + n};{7400 + n};{8900 + n};78.5;82.1;5,250;251,000" for n in range(1, 16)
    ]
    return Layout(
        "summary.csv", ("\n".join(lines) + "\n").encode(), "reported",
        {"well_id": ("Well Name", 1), "stage": ("Stage No", 1), "isip_psi": ("ISIP (psi)", 1),
         "breakdown_pressure_psi": ("Breakdown Pressure (psi)", 1), "avg_treating_pressure_psi": ("Avg Treating Pressure (psi)", 1),
         "max_treating_pressure_psi": ("Max Treating Pressure (psi)", 1), "avg_slurry_rate_bpm": ("Avg Slurry Rate (bpm)", 1),
         "max_slurry_rate_bpm": ("Max Rate (bpm)", 1), "clean_bbl": ("Total Clean Volume (bbl)", 1), "proppant_lbm": ("Total Proppant (lb)", 1)},
    )  # fmt: skip


@layout
def table_of_production() -> Layout:
    lines = ["Well,Month,Oil (bbl),Gas (mcf),Water (bbl),Days On"]
    lines += [
        f"Pipit {w}H,2024-{m:02d}-01,{9000 - 300 * m},{14000 - 200 * m},{21000 - 900 * m},{28 + m % 3}"
        for w in (5, 6)
        for m in range(1, 13)
    ]
    return Layout(
        "production.csv", ("\n".join(lines) + "\n").encode(), "production",
        {"well_id": ("Well", 1), "month": ("Month", 1), "oil_bbl": ("Oil (bbl)", 1), "gas_mcf": ("Gas (mcf)", 1),
         "water_bbl": ("Water (bbl)", 1), "days_on": ("Days On", 1)},
    )  # fmt: skip


@layout
def table_of_costs() -> Layout:
    lines = ["Well,Line,Service Date,Cost Category,Status,Amount,Currency"]
    lines += [f"Pipit 5H,{n},{10 + n % 15:02d}/03/2023,wireline,invoiced,{41000 + n}.50,USD" for n in range(1, 20)]
    return Layout(
        "cost lines.csv", ("\n".join(lines) + "\n").encode(), "cost",
        {"well_id": ("Well", 1), "line": ("Line", 1), "service_date": ("Service Date", 1), "category": ("Cost Category", 1),
         "state": ("Status", 1), "amount": ("Amount", 1), "currency": ("Currency", 1)},
    )  # fmt: skip


@layout
def table_of_hours() -> Layout:
    lines = ["Pad,Start Time,End Time,Activity,Cause"]
    for n in range(24):
        begin = START + timedelta(hours=2 * n)
        lines.append(
            f"Pipit,{begin:%Y-%m-%d %H:%M},{begin + timedelta(hours=2):%Y-%m-%d %H:%M},{'NPT' if n == 5 else 'pumping'},{'blender' if n == 5 else ''}"
        )
    return Layout(
        "time log.csv", ("\n".join(lines) + "\n").encode(), "activity",
        {"pad": ("Pad", 1), "start_time": ("Start Time", 1), "end_time": ("End Time", 1), "activity": ("Activity", 1), "cause": ("Cause", 1)},
    )  # fmt: skip


@layout
def workbook_of_plugs() -> Layout:
    rows: list[list[object]] = [["Plugs set"], [], ["Well", "Plug", "Set Depth (ft)", "Material", "Set Time"]]
    rows += [["Pipit 5H", n, 16000 - 210 * n, "composite", f"2023-03-{10 + n:02d} 08:15"] for n in range(1, 15)]
    return Layout(
        "plugs.xlsx", sheet({"plugs": rows}), "plugs",
        {"well_id": ("Well", 1), "plug": ("Plug", 1), "set_depth_ft": ("Set Depth (ft)", 1), "material": ("Material", 1), "set_time": ("Set Time", 1)},
    )  # fmt: skip
