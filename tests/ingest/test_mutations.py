"""Thousands of spoilt files: nothing leaves ingest but a set-aside file or a finding, and no number changes unseen."""

from __future__ import annotations

import gzip
import random
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import polars as pl
import pytest

from pipeline.ingest.land import land
from pipeline.lake import Lake
from pipeline.schemas.lineage import FINDINGS, SOURCES
from pipeline.schemas.records import TREATMENT
from tests.builders import TREATMENT_MAP, WELLS, WELLS_MAP, workspace

HEAD = "Time,Pressure,Rate,Conc\n,psi,bpm,ppa\n"
ROWS = 40
SLOWEST_S = 10.0
VALUES = ("treating_pressure_psi", "slurry_rate_bpm", "proppant_conc_ppa")
Mutation = Callable[[str, random.Random], str | bytes]


def clean(stage: int) -> str:
    """A record whose every number is its own: nothing can move without being another number."""
    lines = [
        f"2025-03-{1 + stage // 24:02}T{stage % 24:02}:00:{i:02},{4000 + 7 * i + stage},{20 + i * 0.5},{0.5 + i * 0.03125}"
        for i in range(ROWS)
    ]
    return HEAD + "\n".join(lines) + "\n"


def on_line(text: str, rng: random.Random, change: Callable[[list[str]], list[str]]) -> str:
    """Change the cells of one row of data."""
    lines = text.splitlines()
    index = rng.randrange(2, len(lines))
    lines[index] = ",".join(change(lines[index].split(",")))
    return "\n".join(lines) + "\n"


def cells(change: Callable[[list[str], random.Random], list[str]]) -> Mutation:
    return lambda text, rng: on_line(text, rng, lambda row: change(row, rng))


def dropped(row: list[str], rng: random.Random) -> list[str]:
    index = rng.randrange(len(row))
    return row[:index] + row[index + 1 :]


def doubled(row: list[str], rng: random.Random) -> list[str]:
    index = rng.randrange(len(row))
    return [*row[:index], row[index], *row[index:]]


def put(value: str, first: int = 0) -> Callable[[list[str], random.Random], list[str]]:
    def change(row: list[str], rng: random.Random) -> list[str]:
        index = rng.randrange(first, len(row))
        return [*row[:index], value, *row[index + 1 :]]

    return change


def inserted(text: str, rng: random.Random, what: str) -> str:
    place = rng.randrange(len(HEAD), len(text))
    return text[:place] + what + text[place:]


def swapped(text: str, rng: random.Random) -> str:
    lines = text.splitlines()
    a, b = rng.sample(range(2, len(lines)), 2)
    lines[a], lines[b] = lines[b], lines[a]
    return "\n".join(lines) + "\n"


def flipped(text: str, rng: random.Random) -> bytes:
    data = bytearray(text.encode())
    data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)
    return bytes(data)


# name: how, and whether a reader could notice that something is amiss (a digit for a digit cannot be noticed)
MUTATIONS: dict[str, tuple[Mutation, bool]] = {
    "truncated": (lambda text, rng: text[: rng.randrange(len(text))].rstrip("\n"), True),
    "truncated bytes, no text": (lambda text, rng: text.encode()[: rng.randrange(40, len(text))] + b"\xff\xfe", True),
    "byte flipped": (flipped, False),
    "cell dropped": (cells(dropped), True),
    "cell doubled": (cells(doubled), True),
    "cell emptied": (cells(put("")), False),
    "a word for a number": (cells(put("n/a")), True),
    "nan": (cells(put("NaN", 1)), False),
    "inf": (cells(put("-inf", 1)), True),
    "a huge number": (cells(put("1e308", 1)), True),
    "more than a number holds": (cells(put("1e999", 1)), True),
    "a decimal comma": (cells(lambda row, rng: put(row[1] + ",5", 1)(row, rng)), True),
    "a doubled point": (cells(put("4000..5", 1)), True),
    "year 1": (cells(lambda row, rng: ["0001" + row[0][4:], *row[1:]]), True),
    "year 9999": (cells(lambda row, rng: ["9999" + row[0][4:], *row[1:]]), True),
    "year 10000": (cells(lambda row, rng: ["10000" + row[0][4:], *row[1:]]), True),
    "year -2029": (cells(lambda row, rng: ["-2029" + row[0][4:], *row[1:]]), True),
    "all years 1": (lambda text, rng: text.replace("2025-", "0001-"), True),
    "a time without a date": (cells(lambda row, rng: [row[0][11:], *row[1:]]), True),
    "no time": (cells(lambda row, rng: ["", *row[1:]]), True),
    "a quote": (lambda text, rng: inserted(text, rng, '"'), False),
    "two quotes": (lambda text, rng: inserted(inserted(text, rng, '"'), rng, '"'), False),
    "a delimiter": (lambda text, rng: inserted(text, rng, ","), True),
    "a line end": (lambda text, rng: inserted(text, rng, "\n"), False),
    "a return": (lambda text, rng: inserted(text, rng, "\r"), False),
    "a NUL": (lambda text, rng: inserted(text, rng, "\x00"), True),
    "NULs": (lambda text, rng: inserted(text, rng, "\x00" * 300), True),
    "an escape": (lambda text, rng: inserted(text, rng, "\x1b[31m"), True),
    "a remark": (lambda text, rng: inserted(text, rng, "\n# pumps changed\n"), True),
    "a footer": (lambda text, rng: text + "end of record\n", True),
    "rows swapped": (swapped, False),
    "columns swapped": (lambda text, rng: text.replace("Pressure,Rate", "Rate,Pressure", 1), True),
    "headings without a name": (lambda text, rng: text.replace("Rate", "", 1), True),
    "a heading twice": (lambda text, rng: text.replace("Rate", "Pressure", 1), True),
    "a heading too many": (lambda text, rng: text.replace("Time,", "Time,Extra,", 1), True),
    "another unit": (lambda text, rng: text.replace("psi", "kPa", 1), True),
    "returns only": (lambda text, rng: text.replace("\n", "\r"), False),
    "returns and feeds": (lambda text, rng: text.replace("\n", "\r\n"), False),
    "utf-16": (lambda text, rng: text.encode("utf-16"), True),
    "a mark of utf-8": (lambda text, rng: b"\xef\xbb\xbf" + text.encode(), False),
    "latin-1": (lambda text, rng: inserted(text, rng, "°").encode("latin-1"), True),
    "semicolons": (lambda text, rng: text.replace(",", ";"), True),
    "a long cell": (cells(put("9" * 50_000, 1)), True),
    "nothing": (lambda text, rng: "", True),
    "blanks": (lambda text, rng: " \n" * 50, True),
}  # fmt: skip


@dataclass(frozen=True)
class Case:
    stage: int
    name: str
    text: str
    content: str | bytes


def cases(count: int, seed: int) -> list[Case]:
    rng = random.Random(seed)
    names = [name for _ in range(count // len(MUTATIONS) + 1) for name in MUTATIONS][:count]
    made = []
    for stage, name in enumerate(names, start=1):
        text = clean(stage)
        made.append(Case(stage, name, text, MUTATIONS[name][0](text, rng)))
    return made


def numbers(lake: Lake) -> dict[int, dict[str, tuple[float | None, ...]]]:
    """Stage to moment to values."""
    rows = lake.scan(TREATMENT).with_columns(pl.col("time").dt.strftime("%Y-%m-%dT%H:%M:%S")).collect()
    return {
        stage: {row[0]: row[1:] for row in part.select("time", *VALUES).iter_rows()}
        for (stage,), part in rows.partition_by("stage", as_dict=True).items()
    }


def expected(text: str) -> dict[str, tuple[float | None, ...]]:
    rows = (line.split(",") for line in text.splitlines()[2:])
    return {row[0]: tuple(float(cell) for cell in row[1:]) for row in rows}


def judged(folder: Path, given: list[Case], packed: bool) -> list[str]:
    """Land the cases; return those that changed what a reader sees, could have been noticed, and were not."""
    source = TREATMENT_MAP.replace("%Y-%m-%d %H", "%Y-%m-%dT%H")
    files: dict[str, str | bytes] = {"tables/wells.csv": WELLS}
    for case in given:
        data = case.content if isinstance(case.content, bytes) else case.content.encode()
        name = f"Saltgrass 3H stage {case.stage}.csv"
        files[name + ".gz" if packed else name] = gzip.compress(data) if packed else data
    space = workspace(folder, {"records": source.replace('"*.csv"', '"*.*"'), "wells": WELLS_MAP}, files)
    lake, slowest, last = Lake(space.lake), 0.0, time.monotonic()

    def tick(_done: int, _total: int, _path: str) -> None:
        nonlocal slowest, last
        slowest, last = max(slowest, time.monotonic() - last), time.monotonic()

    land(space, lake, tick)
    assert slowest < max(SLOWEST_S, len(given) * 0.1)
    states = dict(lake.scan(SOURCES).filter(lands="treatment").select("path", "state").collect().iter_rows())
    assert len(states) == len(given)
    told = set(lake.scan(FINDINGS).filter(pl.col("step") == "ingest").select("path").collect()["path"])
    seen = numbers(lake)
    hits = []
    for case in given:
        path = f"landing/Saltgrass 3H stage {case.stage}.csv{'.gz' if packed else ''}"
        quiet = states[path] == "landed" and path not in told
        if quiet and MUTATIONS[case.name][1] and seen.get(case.stage, {}) != expected(case.text):
            hits.append(f"{case.name}: {case.content!r}")
    return hits


@pytest.mark.parametrize("packed", [False, True])
def test_spoilt_files_are_set_aside_or_told(tmp_path: Path, packed: bool) -> None:
    assert judged(tmp_path, cases(3 * len(MUTATIONS), seed=20 + packed), packed) == []


@pytest.mark.long
@pytest.mark.parametrize("seed", range(10))
def test_some_ten_thousand_spoilt_files(tmp_path: Path, seed: int) -> None:
    assert judged(tmp_path, cases(999, seed), packed=seed % 2 == 1) == []
