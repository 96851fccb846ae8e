"""What is imported is declared, and what is declared as a lower bound is what `.ci/run` installs and tests."""

from __future__ import annotations

import re
import sys
import tomllib
from importlib.metadata import packages_distributions

from packaging.requirements import Requirement
from packaging.version import Version

from tests.test_layout import FILES, ROOT, imported

PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]


def canonical(name: str) -> str:
    return re.sub(r"[-_.]+", "-", name).lower()


def bounds(lines: list[str]) -> dict[str, str]:
    """Name to lower bound."""
    found = {}
    for line in lines:
        match = re.fullmatch(r"([A-Za-z0-9._-]+)(?:\[[a-z0-9]+\])?(?:>=|==)([0-9.]+)(?:,<[0-9.]+)?", line)
        assert match is not None, line
        found[canonical(match[1])] = match[2]
    return found


def test_every_import_of_the_product_is_declared() -> None:
    declared = set(bounds([*PROJECT["dependencies"], *PROJECT["optional-dependencies"]["cluster"]]))
    owners = packages_distributions()
    for path in FILES:
        for name in imported(path):
            top = name.split(".")[0]
            if top == "pipeline" or top in sys.stdlib_module_names:
                continue
            distributions = {canonical(owner) for owner in owners.get(top, [top])}
            assert distributions & declared, f"{path.name} imports {top}, which pyproject.toml does not declare"


def test_the_constraints_are_the_lower_bounds() -> None:
    lines = (ROOT / ".ci" / "constraints.txt").read_text(encoding="utf-8").splitlines()
    tested = bounds([line for line in lines if not line.startswith("#")])
    declared = bounds([*PROJECT["dependencies"], *PROJECT["optional-dependencies"]["test"]])
    assert tested == declared
    assert ".ci/constraints.txt" in (ROOT / ".ci" / "run").read_text(encoding="utf-8")


def test_the_tested_versions_are_of_all_that_is_declared_and_within_its_bounds() -> None:
    lines = (ROOT / ".ci" / "tested.txt").read_text(encoding="utf-8").splitlines()
    assert all(re.fullmatch(r"[\w.-]+==[\w.+!-]+", line) for line in lines if not line.startswith("#")), (
        "names and versions only"
    )
    tested = {canonical(line.split("==")[0]): Version(line.split("==")[1]) for line in lines if "==" in line}
    for line in [*PROJECT["dependencies"], *PROJECT["optional-dependencies"]["test"]]:
        asked = Requirement(line)
        assert tested[canonical(asked.name)] in asked.specifier, line
