"""Measure how many small faults the tests notice: change one place of the product at a time, run the tests of its part.

    python -m tests.mutate --seed 1 --mutants 150 --workers 2

Each mutant is one random change in `picks`, `metrics`, `physics`, `models`, `plan` or `ingest`: a comparison moved by one
(< to <=) or reversed, + and - or * and / exchanged, a number moved by a tenth, `and` and `or` exchanged, a condition
negated, a statement removed. It is tried in a copy of the repository, against the tests of its part: a run of them
with coverage.py says first which tests run which line and how long each takes. Tried are the tests that run the changed
line, and those for which it is run while something is set up that they share. Lines that are run on import, or that are
compiled, are not seen: then the tests that run another line of the file count, and all tests of the part if there is
none. Quick tests come first, up to a total time. A mutant is noticed when a test fails, or when the tests take longer than the limit.
Strings, docstrings, type hints, messages and declarations of meaning are left alone.
"""

from __future__ import annotations

import argparse
import ast
import copy
import json
import os
import pickle
import random
import shutil
import subprocess
import sys
import tempfile
import time
import xml.etree.ElementTree as ElementTree
from collections import defaultdict
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import accumulate
from pathlib import Path
from queue import SimpleQueue

import pytest
from coverage import CoverageData

from tests.forked import READY, exit_code

ROOT = Path(__file__).parent.parent
LIMIT_S = 600.0
MOST_S = 150.0
"""Total of the times, measured with coverage, of the tests that a mutant is tried against: survivors cost this. [s]"""
AFTER_S = 0.3
"""Tests that take less are tried before the figures. [s]"""
FIGURES = "tests/test_figures.py"
"""Sees most changes of a number, for some twenty seconds: tried after the quickest tests, before all others."""
TESTS = {
    "physics": ("tests/published", FIGURES),
    "picks": (FIGURES, "tests/metrics/test_hand_values.py", "tests/published/test_picks.py", "tests/picks"),
    "metrics": (
        FIGURES,
        "tests/published/test_time.py",
        "tests/published/test_rock.py",
        "tests/picks/test_coil_truth.py",
        "tests/metrics",
    ),
    "models": (FIGURES, "tests/models", "tests/published/test_statistics.py"),
    "plan": ("tests/plan",),
    "ingest": ("tests/ingest", FIGURES),
}
"""Tests of each part of the product."""
STEPS = {"physics": 1, "picks": 1, "metrics": 1, "models": 2, "plan": 2, "ingest": 0}
"""Number of steps (landing, measuring) that come before the part: the campaign is prepared with them, once."""
SLOW = ("tests/ingest/test_kill.py", "tests/ingest/test_large.py", "tests/ingest/test_two_runs.py")
_COMPARE: dict[type[ast.cmpop], tuple[type[ast.cmpop], ...]] = {
    ast.Lt: (ast.LtE, ast.Gt), ast.LtE: (ast.Lt, ast.Gt), ast.Gt: (ast.GtE, ast.Lt), ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,), ast.NotEq: (ast.Eq,), ast.Is: (ast.IsNot,), ast.IsNot: (ast.Is,), ast.In: (ast.NotIn,),
    ast.NotIn: (ast.In,),
}  # fmt: skip
_ARITHMETIC: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult,
}  # fmt: skip


@dataclass(frozen=True)
class Mutant:
    """One change: file, line, what it is, and the file's text with it."""

    path: str
    line: int
    what: str
    text: str

    @property
    def part(self) -> str:
        return self.path.split("/")[1]


def _left_alone(tree: ast.AST) -> set[int]:
    """Return the ids of nodes that are no behaviour: decorators, annotations, texts, `__all__`, raised messages."""
    alone: set[int] = set()
    for node in ast.walk(tree):
        skipped: list[ast.AST | None] = []
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            skipped += node.decorator_list
        if isinstance(node, ast.FunctionDef):
            skipped += [node.returns, *(arg.annotation for arg in ast.walk(node.args) if isinstance(arg, ast.arg))]
        if isinstance(node, ast.AnnAssign):
            skipped.append(node.annotation)
        if isinstance(node, ast.JoinedStr | ast.Raise):
            skipped.append(node)
        for part in skipped:
            if part is not None:
                alone |= {id(child) for child in ast.walk(part)}
    return alone


def _changes(node: ast.AST) -> Iterator[tuple[str, ast.AST]]:
    """Yield the changes that can be made at a node: words, and the node in its place."""
    if isinstance(node, ast.Compare):
        for other in _COMPARE.get(type(node.ops[0]), ()):
            new = copy.deepcopy(node)
            new.ops[0] = other()
            yield f"{type(node.ops[0]).__name__} -> {other.__name__}", new
    elif isinstance(node, ast.BinOp) and type(node.op) in _ARITHMETIC:
        number = copy.deepcopy(node)
        number.op = _ARITHMETIC[type(node.op)]()
        yield f"{type(node.op).__name__} -> {type(number.op).__name__}", number
    elif isinstance(node, ast.BoolOp):
        logic = copy.deepcopy(node)
        logic.op = ast.Or() if isinstance(node.op, ast.And) else ast.And()
        yield f"{type(node.op).__name__} -> {type(logic.op).__name__}", logic
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not | ast.USub):
        yield f"{type(node.op).__name__} removed", copy.deepcopy(node.operand)
    elif isinstance(node, ast.Constant) and type(node.value) in (int, float):
        moved = node.value + 1 if isinstance(node.value, int) else node.value * 1.1 if node.value else 0.1
        yield f"{node.value} -> {moved}", ast.Constant(moved)
    elif isinstance(node, ast.If):
        negated = copy.deepcopy(node)
        negated.test = ast.UnaryOp(ast.Not(), negated.test)
        yield "condition negated", negated
    elif isinstance(node, ast.Assign | ast.AugAssign) or (
        isinstance(node, ast.Expr) and isinstance(node.value, ast.Call)
    ):
        yield "statement removed", ast.Pass()


class _Replace(ast.NodeTransformer):
    def __init__(self, at: int, new: ast.AST) -> None:
        self.at, self.new, self.count = at, new, -1

    def visit(self, node: ast.AST) -> ast.AST:
        self.count += 1
        if self.count == self.at:
            return ast.copy_location(self.new, node)
        return self.generic_visit(node)


def _order(tree: ast.AST) -> list[ast.AST]:
    """Return the nodes in the order in which a transformer visits them."""
    found: list[ast.AST] = []

    class Visit(ast.NodeVisitor):
        def visit(self, node: ast.AST) -> None:
            found.append(node)
            self.generic_visit(node)

    Visit().visit(tree)
    return found


def mutants(root: Path, parts: tuple[str, ...], count: int, seed: int) -> list[Mutant]:
    """Draw mutants: each part of the product has a share by its number of places that can be changed."""
    places: list[tuple[Path, int, int]] = []
    for part in parts:
        for path in sorted((root / "pipeline" / part).rglob("*.py")):
            tree = ast.parse(path.read_text(encoding="utf-8"))
            alone = _left_alone(tree)
            for at, node in enumerate(_order(tree)):
                if id(node) not in alone:
                    places += [(path, at, which) for which, _ in enumerate(_changes(node))]
    drawn = random.Random(seed).sample(places, min(count, len(places)))
    made = []
    for path, at, which in drawn:
        tree = ast.parse(path.read_text(encoding="utf-8"))
        node = _order(tree)[at]
        what, new = list(_changes(node))[which]
        text = ast.unparse(ast.fix_missing_locations(_Replace(at, new).visit(tree)))
        made.append(Mutant(str(path.relative_to(root)), getattr(node, "lineno", 0), what, text))
    return made


def prepare(folder: Path) -> dict[int, Path]:
    """Prepare the sample campaign: 1 is landed, 2 is measured as well; 0 is nothing."""
    from pipeline.steps import run_measure  # not on top: processes that try mutants import their own copy
    from pipeline.workspace import open_workspace
    from tests.conftest import prepared

    landed, measured = folder / "1", folder / "2"
    landed.mkdir(parents=True)
    (landed / "truth.pickle").write_bytes(pickle.dumps(prepared(landed / "campaign")))
    shutil.copytree(landed, measured)
    run_measure(open_workspace(measured / "campaign"))
    return {1: landed, 2: measured}


@dataclass(frozen=True)
class Watched:
    """What one run of tests showed.

    `seconds` has the time of each test, `run` the tests that run a line (file, line), `set_up` those while something was
    set up for which it was run, `fixtures` what each test shares with others.
    """

    seconds: dict[str, float]
    run: dict[tuple[str, int], frozenset[str]]
    set_up: dict[tuple[str, int], frozenset[str]]
    fixtures: dict[str, frozenset[str]]

    def tests(self, mutant: Mutant) -> list[str]:
        """Return the tests to try a mutant against, the most promising first."""
        place = (mutant.path, mutant.line)
        known = [test for test in self.seconds if _of_part(test, mutant.part)]
        near = self.run.get(place, frozenset()) | self._sharing(self.set_up.get(place, frozenset()))
        if not near:  # run on import, or compiled
            lines = [line for line in (*self.run, *self.set_up) if line[0] == mutant.path]
            run = (self.run.get(line, frozenset()) | self.set_up.get(line, frozenset()) for line in lines)
            near = self._sharing(frozenset().union(*run))
        chosen = sorted([test for test in known if test in near] or known, key=self._time)
        total = list(accumulate(self.seconds.get(test, 0.0) for test in chosen))
        return [test for test, so_far in zip(chosen, total, strict=True) if so_far <= MOST_S] or chosen[:1]

    def _sharing(self, tests: frozenset[str]) -> frozenset[str]:
        """Return tests, and those that share with them what is set up for several."""
        shared = frozenset().union(*(self.fixtures.get(test, frozenset()) for test in tests))
        return tests | {test for test, held in self.fixtures.items() if held & shared}

    def _time(self, test: str) -> float:
        return AFTER_S if test.startswith(FIGURES) else self.seconds.get(test, 0.0)


def _of_part(test: str, part: str) -> bool:
    return any(test.startswith((f"{name}/", f"{name}::")) for name in TESTS[part])


def pytest_collection_finish(session: pytest.Session) -> None:
    """Write what each test shares with others, where this module is loaded as a plugin of pytest."""
    shared = {}
    for item in session.items:
        held = getattr(item, "_fixtureinfo").name2fixturedefs.values()  # noqa: B009
        shared[item.nodeid] = [each[-1].argname for each in held if each[-1].scope in ("session", "module")]
    (Path(session.config.rootpath) / "fixtures.json").write_text(json.dumps(shared), encoding="utf-8")


def _environment(step: int, ready: dict[int, Path]) -> dict[str, str]:
    env = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    if step in ready:
        env[READY] = str(ready[step])
    return env


def watched(parts: list[str], step: int, copied: Path, ready: dict[int, Path], workers: int) -> Watched:
    """Run the tests of some parts once and see which test runs which line, and for how long.

    Raises
    ------
    RuntimeError
        A test fails before anything is changed.
    """
    times, kept = copied / "times.xml", copied / ".coverage"
    names = dict.fromkeys(name for part in parts for name in TESTS[part])
    outer = [name for name in names if not any(name.startswith(f"{other}/") for other in names)]
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", *outer, *(f"--ignore={n}" for n in SLOW)]
    timed = ["-n", str(workers), f"--junitxml={times}", "-o", "junit_family=xunit1"]
    timed += ["--cov=pipeline", "--cov-context=test", "--cov-report="]
    env = _environment(step, ready)
    done = subprocess.run([*command, *timed], cwd=copied, capture_output=True, text=True, check=False, env=env)
    if done.returncode != 0:
        raise RuntimeError(f"the tests of {', '.join(parts)} fail with nothing changed:\n{done.stdout[-3000:]}")
    cases = ElementTree.parse(times).iter("testcase")
    seconds = {f"{case.get('file')}::{case.get('name')}": float(case.get("time", 0)) for case in cases}
    data = CoverageData(str(kept))
    data.read()
    run: dict[tuple[str, int], frozenset[str]] = {}
    set_up: dict[tuple[str, int], frozenset[str]] = {}
    for name in data.measured_files():
        path = Path(name).relative_to(copied).as_posix()
        for line, contexts in data.contexts_by_lineno(name).items():
            for phase, found in (("|run", run), ("|setup", set_up)):
                if held := frozenset(word.removesuffix(phase) for word in contexts if word.endswith(phase)):
                    found[path, line] = held
    collected = _try(list(seconds), copied, env, "--collect-only", "-p", "tests.mutate")
    if collected != 0:
        raise RuntimeError(f"the tests of {', '.join(parts)} are not found by the names that they report")
    fixtures = json.loads((copied / "fixtures.json").read_text(encoding="utf-8"))
    return Watched(seconds, run, set_up, {test: frozenset(held) for test, held in fixtures.items()})


def _try(tests: list[str], copied: Path, env: dict[str, str], *options: str) -> int | None:
    """Run tests one after the other up to the first that fails; return pytest's exit code, None if it takes too long."""
    asked = copied / "tests.txt"
    asked.write_text("\n".join(tests), encoding="utf-8")
    return exit_code(copied, ["-x", "-q", "-n", "0", "-p", "no:cacheprovider", *options, f"@{asked}"], env, LIMIT_S)


def noticed(mutant: Mutant, copied: Path, ready: dict[int, Path], seen: Watched) -> bool:
    """Whether the tests of its part fail in a copy of the repository that holds a mutant."""
    path = copied / mutant.path
    before = path.read_text(encoding="utf-8")
    path.write_text(mutant.text, encoding="utf-8")
    try:
        return _try(seen.tests(mutant), copied, _environment(STEPS[mutant.part], ready)) != 0
    finally:
        path.write_text(before, encoding="utf-8")


def main() -> None:
    """Draw mutants, try each, print the survivors and the share noticed by part."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--mutants", type=int, default=150)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--parts", nargs="*", default=list(TESTS), choices=list(TESTS))
    asked = parser.parse_args()
    drawn = mutants(ROOT, tuple(asked.parts), asked.mutants, asked.seed)
    copies: SimpleQueue[Path] = SimpleQueue()
    started = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        ready = prepare(Path(folder) / "ready")
        for number in range(asked.workers):
            copied = Path(folder) / f"copy {number}"
            ignored = shutil.ignore_patterns(".git", ".venv*", ".*cache", "__pycache__", ".hypothesis")
            shutil.copytree(ROOT, copied, ignore=ignored)
            copies.put(copied)
        seen: dict[str, Watched] = {}
        for step in sorted({STEPS[part] for part in asked.parts}):
            parts = [part for part in asked.parts if STEPS[part] == step]
            seen |= dict.fromkeys(parts, watched(parts, step, copied, ready, asked.workers))
        print(f"which tests run which lines: {time.monotonic() - started:.0f} s", flush=True)

        def attempt(mutant: Mutant) -> bool:
            copied = copies.get()
            try:
                return noticed(mutant, copied, ready, seen[mutant.part])
            finally:
                copies.put(copied)

        counted: dict[str, list[bool]] = defaultdict(list)
        with ThreadPoolExecutor(asked.workers) as pool:
            for mutant, found in zip(drawn, pool.map(attempt, drawn), strict=True):
                counted[mutant.part].append(found)
                done = sum(map(len, counted.values()))
                if done % 10 == 0:
                    print(f"{done} of {len(drawn)} tried, {time.monotonic() - started:.0f} s", flush=True)
                if not found:
                    print(f"survived: {mutant.path}:{mutant.line}: {mutant.what}", flush=True)
    for part, results in sorted(counted.items()):
        print(f"{part}: {sum(results)} of {len(results)} noticed")
    every = [found for results in counted.values() for found in results]
    print(f"all: {sum(every)} of {len(every)} ({sum(every) / len(every):.0%}), {time.monotonic() - started:.0f} s")


if __name__ == "__main__":
    main()
