"""SQL that somebody wrote: it reads marts and tables, and reaches nothing else."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import duckdb
import polars as pl
import pytest

import pipeline
from pipeline import queries
from pipeline.errors import HeelwardError
from pipeline.lake import Lake
from pipeline.report import export
from tests.command import heelward
from tests.conftest import Fitted


@pytest.fixture(scope="module")
def connection(tmp_path_factory: pytest.TempPathFactory) -> duckdb.DuckDBPyConnection:
    return queries.connect(Lake(str(tmp_path_factory.mktemp("lake"))))


def test_the_python_lines_of_the_readme_work(fitted: Fitted, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    text = (queries.folder().parent / "README.md").read_text(encoding="utf-8")
    lines = text.split("```python\n")[1].split("```")[0]
    (tmp_path / "myteam").symlink_to(fitted.workspace.root)
    monkeypatch.chdir(tmp_path)
    space: dict[str, Any] = {}
    exec("\n".join(line.removeprefix("   ") for line in lines.splitlines()), space)
    assert space["stages"].height > 100
    assert set(space["minutes"].columns) == {"pad", "quarter", "minutes"}


def test_a_notebook_gets_frames_in_three_lines(fitted: Fitted) -> None:
    team = pipeline.open_workspace(fitted.workspace.root)
    stages = team.query("stages")
    counted = team.sql("SELECT pad, count(*) AS stages FROM stage GROUP BY pad ORDER BY pad")
    assert isinstance(stages, pl.DataFrame) and stages.height == counted["stages"].sum()
    trend = team.query("quarter_trend", metric="mill_min")
    assert trend["n"].sum() == team.sql("SELECT count(mill_min) AS n FROM plug")["n"][0]
    known = team.about("stage")
    assert ("isip_psi", "psi") in known.select("column", "unit").rows()
    with pytest.raises(HeelwardError, match="has no parameter x"):
        team.query("quarter_trend", x="y")


SECRET = "the secret of another folder"


@pytest.mark.parametrize(
    "text",
    [
        "SELECT * FROM read_csv('{file}')", "SELECT * FROM read_text('{file}')", "SELECT * FROM read_blob('{file}')",
        "SELECT * FROM read_json_auto('{file}')", "SELECT * FROM read_parquet('{file}')", "SELECT * FROM '{file}'",
        "SELECT * FROM glob('{folder}/*')", "SELECT * FROM sniff_csv('{file}')", "SELECT * FROM duckdb_secrets()",
        "SELECT * FROM query('COPY (SELECT 1) TO ''{folder}/made''')", "SELECT getenv('PATH')", "FROM frame",
        "COPY (SELECT 1) TO '{folder}/made'", "EXPORT DATABASE '{folder}/made'", "ATTACH '{folder}/made'",
        "INSTALL httpfs", "LOAD httpfs", "SET enable_external_access = true", "SET lock_configuration = false",
        "CREATE TABLE made (a INT)", "DROP TABLE stage", "DELETE FROM stage", "INSERT INTO stage (well_id) VALUES ('x')",
        "UPDATE stage SET well_id = 'x'", "SELECT 1; COPY (SELECT 1) TO '{folder}/made'", "PRAGMA database_list", "",
        "SELECT * FROM read_csv('https://example.org/x.csv')", "CALL pragma_version()", "SELEC 1",
        "CREATE SECRET s (TYPE s3)", "SELECT * FROM read_text('.tmp/secret.csv')", "SELECT interval 1 minute",
        "SELECT union_value(a := 1)", "PIVOT stage ON frac_crew USING count(*)", "CHECKPOINT", "VACUUM", "SELECT * FROM nothing",
    ],
)  # fmt: skip
def test_sql_cannot_write_attach_install_or_read_what_lies_outside(
    connection: duckdb.DuckDBPyConnection, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, text: str
) -> None:
    frame = pl.DataFrame({"a": [SECRET]})  # a variable of Python is out of reach too
    assert frame.height
    (tmp_path / "secret.csv").write_text(f"a\n{SECRET}\n", encoding="utf-8")
    (tmp_path / ".tmp").mkdir()
    (tmp_path / ".tmp" / "secret.csv").write_text(SECRET, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    with pytest.raises(HeelwardError) as refused:
        queries.run_sql(connection, text.format(file=tmp_path / "secret.csv", folder=tmp_path))
    assert SECRET not in str(refused.value)
    assert {path.name for path in tmp_path.iterdir()} == {"secret.csv", ".tmp"}
    assert connection.sql("SELECT count(*) FROM stage").fetchall() == [(0,)]


def test_an_error_says_what_there_is(connection: duckdb.DuckDBPyConnection) -> None:
    with pytest.raises(
        HeelwardError, match=r"nothing does not exist[\s\S]*marts: .*coil_run.*stage[\s\S]*--about NAME"
    ):
        queries.run_sql(connection, "SELECT * FROM nothing")
    with pytest.raises(HeelwardError, match=r"there is no mart or table 'nothing'; known: .*stage"):
        queries.about("nothing")
    with pytest.raises(HeelwardError, match=r"only one SELECT statement .* found: SELECT, SELECT"):
        queries.run_sql(connection, "SELECT 1; SELECT 2")


def test_rows_come_back_from_a_spreadsheet_as_they_were(tmp_path: Path) -> None:
    frame = pl.DataFrame(
        {
            "text": ["=1+1", None, "plain"], "number": [1.5, float("nan"), None], "whole": [1, 2, None],
            "flag": [True, False, None], "day": [date(2025, 3, 1), None, None],
            "time": [datetime(2025, 3, 1, 12, 30, tzinfo=UTC), None, None],
        }
    )  # fmt: skip
    export.write(frame, tmp_path / "rows.xlsx")
    back = pl.read_excel(tmp_path / "rows.xlsx")
    assert back.columns == ["text", "number", "whole", "flag", "day", "time [UTC]"]
    assert back["text"].to_list() == ["=1+1", None, "plain"]
    assert back["number"].to_list() == [1.5, None, None]
    assert back["whole"].to_list() == [1, 2, None]
    assert back["flag"].to_list() == [True, False, None]
    assert back["day"].to_list()[0] == date(2025, 3, 1)
    assert back["time [UTC]"].to_list()[0] == datetime(2025, 3, 1, 12, 30)
    with pytest.raises(HeelwardError, match=r"use a \.csv, \.parquet or \.xlsx file"):
        export.write(frame, tmp_path / "rows.ods")


def test_the_command_runs_sql_and_files_and_lists_what_there_is(fitted: Fitted, tmp_path: Path) -> None:
    place = ("--workspace", fitted.workspace.root)
    shown = heelward("query", "--sql", "SELECT well, stages_measured FROM well ORDER BY well LIMIT 1", *place)
    assert shown.returncode == 0 and "stages_measured" in shown.stdout
    (tmp_path / "q.sql").write_text("-- mine\nSELECT count(*) AS n FROM stage;\n", encoding="utf-8")
    done = heelward("query", "--file", tmp_path / "q.sql", "--out", tmp_path / "n.parquet", *place)
    assert done.returncode == 0 and pl.read_parquet(tmp_path / "n.parquet")["n"][0] > 0
    listed = heelward("query")
    assert "coil_run" in listed.stdout and "quarter_cost" in listed.stdout and "_title" not in listed.stdout
    about = heelward("query", "--about", "well", *place)
    assert "hours_per_stage" in about.stdout
    both = heelward("query", "stages", "--sql", "SELECT 1", *place)
    assert both.returncode == 1 and "give one of NAME, --sql, --file, --about" in both.stderr


def test_lists_and_bytes_are_texts_in_csv_and_spreadsheets(tmp_path: Path) -> None:
    frame = pl.DataFrame({"list": [[1, 2], None], "struct": [{"a": 1}, {"a": 2}], "bytes": [b"x", None]})
    for name in ("rows.csv", "rows.xlsx"):
        export.write(frame, tmp_path / name)
    back = pl.read_csv(tmp_path / "rows.csv")
    assert back["list"].to_list() == ["[1, 2]", None]
    assert back["struct"][0] == "{'a': 1}"
