"""Whether tests notice when the arithmetic is spoilt: one operator, sign or number at a time.

``python tools/mutants.py coverage --sample 150 --seed 1`` spoils 150 places of the room's modules
below, drawn with that seed, one after another, runs the tests named for the module on each, and
lists by number those that no test noticed. Names of modules (``planning/season``) in the room's
place narrow it; ``--only 12,40`` takes those numbers of the draw alone. It works on a copy of the
package in a temporary folder; nothing of the checkout is touched.
"""

from __future__ import annotations

import argparse
import ast
import importlib
import itertools
import os
import pkgutil
import random
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

HERE = Path(__file__).parent.parent
# The test files of each module and the tests in them that take long, left out.
TESTS = {
    "coverage/amounts.py": "pieces amounts_on_the_ground published_figures",
    "coverage/capacity.py": "capacity",
    "coverage/cover.py": "pieces closed_forms layers",
    "coverage/headland.py": "headland",
    "coverage/measure/antenna_path.py": "measure but sample_farms",
    "coverage/measure/pass_ends.py": "measure but sample_farms",
    "coverage/measure/seams.py": "measure but sample_farms",
    "coverage/measure/settings.py": "measure but sample_farms",
    "coverage/passes.py": "capacity headland layers skips",
    "coverage/products.py": "shares amounts_on_the_ground",
    "coverage/receiver/behaviour.py": "receiver",
    "coverage/receiver/judgement.py": "receiver",
    "coverage/skips.py": "skips",
    "coverage/steps.py": "pieces tow closed_forms amounts_on_the_ground",
    "coverage/swath.py": "pieces shares closed_forms",
    "coverage/tow.py": "pieces tow",
    "coverage/uncertainty/area_draws.py": "uncertainty totals_intervals intervals",
    "coverage/uncertainty/chances.py": "uncertainty totals_intervals intervals",
    "coverage/uncertainty/edges.py": "uncertainty totals_intervals intervals",
    "coverage/uncertainty/mass_draws.py": "uncertainty totals_intervals intervals",
    "coverage/uncertainty/position_error.py": "uncertainty totals_intervals intervals",
    "coverage/uncertainty/regions.py": "uncertainty totals_intervals intervals",
    "coverage/uncertainty/shifts.py": "uncertainty totals_intervals intervals",
    "planning/calibration/calibrate.py": "calibrate",
    "planning/calibration/compartments.py": "calibrate",
    "planning/calibration/meter_test.py": "calibrate",
    "planning/calibration/next_setting.py": "calibrate past_settings",
    "planning/finish/finish_job.py": "finish",
    "planning/finish/rate_to_finish.py": "finish",
    "planning/finish/remaining_ground.py": "finish",
    "planning/interseeding/fills.py": "fills",
    "planning/interseeding/grazing.py": "grazing",
    "planning/interseeding/windows.py": "seeding_windows but referee left_out",
    "planning/intervals.py": "totals_intervals season_amounts",
    "planning/loads/load_check.py": "loads",
    "planning/loads/loads.py": "loads",
    "planning/loads/stock_balance.py": "loads",
    "planning/passes/order.py": "pass_order",
    "planning/passes/rounds.py": "pass_plan but turns other_tools farm invariants",
    "planning/passes/strips.py": "pass_plan but other_tools farm invariants",
    "planning/passes/turns.py": "turns pass_plan but fewest_turns other_tools farm invariants",
    "planning/season/needs.py": "nutrients",
    "planning/season/nutrients.py": "nutrients",
    "planning/season/salt.py": "salt",
    "planning/season/season_totals.py": "nutrients money seed",
    "planning/season/zone_rates.py": "export",
}

SWAPS: dict[type[ast.AST], tuple[type[ast.AST], ...]] = {
    ast.Add: (ast.Sub,),
    ast.Sub: (ast.Add,),
    ast.Mult: (ast.Div,),
    ast.Div: (ast.Mult,),
    ast.FloorDiv: (ast.Div,),
    ast.Mod: (ast.Add,),
    ast.Pow: (ast.Mult,),
    ast.BitAnd: (ast.BitOr,),
    ast.BitOr: (ast.BitAnd,),
    ast.And: (ast.Or,),
    ast.Or: (ast.And,),
    ast.Lt: (ast.LtE, ast.GtE),
    ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.LtE),
    ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
}

# Tests of a module take seconds; what takes longer has lost its end.
MOST_S = 100.0


@dataclass(frozen=True)
class Mutant:
    """A spoilt module: its file in the package, where, what stood there and stands there now."""

    path: str
    where: str
    source: str


def spoil(path: str, number: int) -> Mutant:
    """A module with the one of its ``changes`` of this number."""
    tree = _parsed(path)
    node, field, new = changes(tree)[number]
    before = ast.unparse(node)
    setattr(node, field, new)
    where = f"{path}:{node.lineno}: {before}  ->  {ast.unparse(node)}"
    return Mutant(path, where, ast.unparse(tree))


def changes(tree: ast.AST) -> list[tuple[ast.expr | ast.stmt, str, object]]:
    """Every way to spoil a module: a node, a field of it, and what to put there."""
    found: list[tuple[ast.expr | ast.stmt, str, object]] = []
    for node in _expressions(tree):
        match node:
            case ast.BinOp(op=op) | ast.BoolOp(op=op) | ast.AugAssign(op=op):
                found += [(node, "op", swap()) for swap in SWAPS.get(type(op), ())]
            case ast.Compare(ops=[op, *others]):
                found += [(node, "ops", [swap(), *others]) for swap in SWAPS.get(type(op), ())]
            case ast.UnaryOp(ast.USub()):
                found.append((node, "op", ast.UAdd()))
            case ast.UnaryOp(ast.Not() | ast.Invert() as op, operand):
                found.append((node, "operand", ast.UnaryOp(op, operand)))
            case ast.Constant(bool() as value):
                found.append((node, "value", not value))
            case ast.Constant(int() as value):
                found.append((node, "value", value + 1))
            case ast.Constant(float() as value):
                found.append((node, "value", value * 1.1 or 1.0))
    return found


def _parsed(path: str) -> ast.AST:
    return ast.parse((HERE / "evenacre" / path).read_text("utf-8"))


def _expressions(tree: ast.AST) -> Iterator[ast.expr | ast.stmt]:
    """Nodes in the order of the text, but for annotations."""
    for field, value in ast.iter_fields(tree):
        if field in {"annotation", "returns"}:
            continue
        for child in value if isinstance(value, list) else [value]:
            if isinstance(child, ast.AST):
                if isinstance(child, ast.expr | ast.stmt):
                    yield child
                yield from _expressions(child)


class Laboratory:
    """A copy of the package, and processes that run tests on it.

    What the tests import from elsewhere is imported here once; each run is a fork of this
    process, so it costs the package's own import and the tests alone.
    """

    def __init__(self, folder: Path) -> None:
        self._package = folder / "evenacre"
        shutil.copytree(
            HERE / "evenacre", self._package, ignore=shutil.ignore_patterns("__pycache__")
        )
        self._output = folder / "output"
        self._stamps = itertools.count(1_000_000_000)
        os.environ["PYTHONPATH"] = str(folder)
        os.chdir(HERE)
        sys.path[:0] = [str(folder), str(HERE / "tests")]
        for module in ("conftest", "hypothesis.extra.numpy"):
            importlib.import_module(module)
        evenacre = importlib.import_module("evenacre")
        for found in pkgutil.walk_packages(evenacre.__path__, "evenacre."):
            if not found.name.endswith("__main__"):
                importlib.import_module(found.name)
        ours = [name for name in sys.modules if name.split(".")[0] in {"evenacre", "conftest"}]
        for name in ours:
            del sys.modules[name]
        sys.dont_write_bytecode = True

    def misses(self, mutant: Mutant) -> bool:
        """Whether all tests pass with the mutant in its module's place."""
        path = self._package / mutant.path
        sound = path.read_bytes()
        try:
            self._put(path, mutant.source.encode())
            return self.passes(mutant.path)
        finally:
            self._put(path, sound)

    def _put(self, path: Path, source: bytes) -> None:
        path.write_bytes(source)
        # Python tells by the second and the size whether its compiled file is of this text.
        stamp = next(self._stamps)
        os.utime(path, (stamp, stamp))

    def passes(self, path: str) -> bool:
        """Whether the tests of a module pass, and in time."""
        child = os.fork()
        if not child:
            self._run_tests(path)
        stop = time.monotonic() + MOST_S
        while time.monotonic() < stop:
            done, status = os.waitpid(child, os.WNOHANG)
            if done:
                return status == 0
            time.sleep(0.02)
        os.killpg(child, signal.SIGKILL)
        os.waitpid(child, 0)
        return False

    def _run_tests(self, path: str) -> None:
        """Never returns."""
        os.setpgid(0, 0)
        with self._output.open("w") as output:
            os.dup2(output.fileno(), 1)
            os.dup2(output.fileno(), 2)
        files, _, without = TESTS[path].partition(" but ")
        tests = [f"tests/test_{name}.py" for name in files.split()]
        options = ["-x", "-q", "-p", "no:cacheprovider", "--hypothesis-seed=0"]
        if without:
            options += ["-k", f"not ({' or '.join(without.split())})"]
        code = 1
        try:
            code = int(pytest.main([*options, *tests]))
        finally:
            sys.stdout.flush()
            os._exit(code)

    def said(self) -> str:
        """What the last run printed."""
        return self._output.read_text(encoding="utf-8", errors="replace")


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("modules", nargs="+", help="as in the list above, or how they begin")
    parser.add_argument("--sample", type=int, default=150)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", help="numbers of the draw, by commas")
    asked = parser.parse_args()
    paths = [path for path in TESTS if path.startswith(tuple(asked.modules))]
    pool = [(p, n) for p in paths for n in range(len(changes(_parsed(p))))]
    drawn = random.Random(asked.seed).sample(pool, min(asked.sample, len(pool)))
    only = [int(n) for n in asked.only.split(",")] if asked.only else range(len(drawn))
    with tempfile.TemporaryDirectory() as folder:
        laboratory = Laboratory(Path(folder))
        sound: set[str] = set()
        left = 0
        for number in only:
            mutant = spoil(*drawn[number])
            if mutant.path not in sound:
                if not laboratory.passes(mutant.path):
                    print(laboratory.said())
                    return 1
                sound.add(mutant.path)
            if laboratory.misses(mutant):
                left += 1
                print(f"{number} {mutant.where}", flush=True)
    print(f"{len(only)} of {len(pool)} mutants, {len(only) - left} caught, {left} left")
    return 0


if __name__ == "__main__":
    sys.exit(main())
