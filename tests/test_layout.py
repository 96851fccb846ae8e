"""The house keeps its order: imports point left, one file imports prefect, nothing foreign at the top."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
PACKAGE = ROOT / "pipeline"
ORDER = (
    "errors",
    "text",
    "events",
    "files",
    "resources",
    "jit",
    "parallel",
    "units",
    "unit_names",
    "workspace",
    "messages",
    "locks",
    "sql",
    "schemas",
    "physics",
    "picks",
    "lake",
    "ingest",
    "metrics",
    "models",
    "plan",
    "queries",
    "report",
    "steps",
)
ENDS = ("flows", "notebook", "cli", "commands", "demo")
"""They only call steps and what lies left of them; nothing imports them but each other's commands."""


def part(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def imported(path: Path) -> set[str]:
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names.add(node.module)
            names |= {f"{node.module}.{alias.name}" for alias in node.names}
    return names


FILES = sorted(PACKAGE.rglob("*.py"))


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_a_module_imports_only_from_its_left(path: Path) -> None:
    own = part(path)
    for name in imported(path):
        pieces = name.split(".")
        if pieces[0] != "pipeline" or len(pieces) < 2:
            continue
        other = pieces[1]
        if other == own or other == "__version__":
            continue
        if own in ORDER:
            assert other in ORDER, name
            assert ORDER.index(other) < ORDER.index(own), f"{own} imports {name}"
        elif own in ENDS:
            assert other in (*ORDER, *ENDS), name


def test_the_invented_campaign_knows_physics_only() -> None:
    """What it plants must not be computed by the code that is to find it."""
    for path in (PACKAGE / "demo").glob("*.py"):
        others = {name.split(".")[1] for name in imported(path) if name.startswith("pipeline.")}
        assert path.name == "build.py" or others <= {"physics", "units", "demo"}, path


def test_only_flows_imports_prefect() -> None:
    users = {path.name for path in FILES if any(name.split(".")[0] == "prefect" for name in imported(path))}
    assert users == {"flows.py"}


def test_physics_and_picks_touch_no_files_and_no_frames() -> None:
    for path in FILES:
        if part(path) in ("physics", "picks"):
            foreign = {name.split(".")[0] for name in imported(path)} & {
                "polars",
                "pathlib",
                "io",
                "os",
                "duckdb",
                "pyarrow",
                "deltalake",
            }
            assert not foreign, path


def test_top_level_is_fixed() -> None:
    allowed = {
        "README.md", "DEVELOPERS.md", "pyproject.toml", "pipeline", "queries", "tests", "sample_lake", "reports",
        "LICENSE", "CHANGELOG.md",
    }  # fmt: skip
    import subprocess

    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    if listed.returncode != 0:
        pytest.skip("not a git checkout: the list of committed files is not known")
    top = {line.split("/")[0] for line in listed.stdout.splitlines()}
    assert {name for name in top if not name.startswith(".")} <= allowed


def test_the_committed_slice_is_small() -> None:
    size = sum(path.stat().st_size for path in (ROOT / "sample_lake" / "landing").rglob("*") if path.is_file())
    assert 100_000 < size <= 2_000_000


def test_every_metric_column_and_schema_column_has_a_meaning() -> None:
    from pipeline.metrics.tables import TABLES

    for table in TABLES.values():
        for name, column in table.schema.columns().items():
            assert column.description, f"{table.name}.{name}"
