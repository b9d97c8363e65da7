"""How many single-line faults in the pure packages do the fast tests catch?

``python -m tests.bench.bench_mutations [COUNT] [SEED]`` copies the checkout to a temporary folder, changes one line there
(a sign, an off-by-one, a constant), runs the fast tests of the pure packages, and counts the faults that a test notices. It
prints every fault that no test noticed. A boundary (``<`` for ``<=``) is changed only beside a whole number, a length or a
size: between two measured figures that are never equal it is the same program.

Inside: `Mutation`, `mutations_of`, `main`.
"""

import ast
import os
import random
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]

PURE = ("model", "analysis", "course", "classroom")
"""Packages that are changed, and whose tests have to notice."""

_FOLDERS = (*PURE, "files", "app", "views")
"""Folders of tests that are run, those of the changed package first."""

_SWAPS: dict[type, str] = {
    ast.Add: "-",
    ast.Sub: "+",
    ast.Mult: "/",
    ast.Div: "*",
    ast.Lt: "<=",
    ast.LtE: "<",
    ast.Gt: ">=",
    ast.GtE: ">",
    ast.Eq: "!=",
    ast.NotEq: "==",
    ast.And: "or",
    ast.Or: "and",
}
_SIGNS: dict[type, str] = {
    ast.Add: "+",
    ast.Sub: "-",
    ast.Mult: "*",
    ast.Div: "/",
    ast.Lt: "<",
    ast.LtE: "<=",
    ast.Gt: ">",
    ast.GtE: ">=",
    ast.Eq: "==",
    ast.NotEq: "!=",
    ast.And: "and",
    ast.Or: "or",
}


_BOUNDARIES = (ast.Lt, ast.LtE, ast.Gt, ast.GtE)


@dataclass(frozen=True, slots=True)
class Mutation:
    """One change of one line."""

    path: Path
    """Of the file, from the root of the checkout."""
    line: int
    """From 1."""
    before: str
    after: str


def mutations_of(path: Path, source: str) -> Iterator[Mutation]:
    """Every change that can be made to the functions of a file, in the order of its lines."""
    lines = source.splitlines()
    for function in ast.walk(ast.parse(source)):
        if isinstance(function, ast.FunctionDef):
            for node in ast.walk(function):
                yield from _of_node(path, lines, node)


def _of_node(path: Path, lines: list[str], node: ast.AST) -> Iterator[Mutation]:
    """The changes at one node: a swapped operator, a whole number that is one too large, another number twice as large."""
    if isinstance(node, ast.Constant) and type(node.value) in (int, float) and node.lineno == node.end_lineno:
        text = lines[node.lineno - 1]
        value = node.value + 1 if isinstance(node.value, int) or not node.value else node.value * 2
        yield Mutation(path, node.lineno, text, text[: node.col_offset] + repr(value) + text[node.end_col_offset :])
        return
    for operator, left, right in _operators(node):
        if type(operator) not in _SWAPS or left.end_lineno != right.lineno:
            continue
        if type(operator) in _BOUNDARIES and not (_counts(left) or _counts(right)):
            continue
        text, start, end = lines[right.lineno - 1], left.end_col_offset or 0, right.col_offset
        between = text[start:end].replace(_SIGNS[type(operator)], _SWAPS[type(operator)], 1)
        if between != text[start:end]:
            yield Mutation(path, right.lineno, text, text[:start] + between + text[end:])


def _counts(side: ast.expr) -> bool:
    """Whether a side of a comparison is a whole number, a length or a size, so that the two sides can be equal."""
    return (
        (isinstance(side, ast.Constant) and type(side.value) is int)
        or (isinstance(side, ast.Attribute) and side.attr in ("size", "ndim"))
        or (isinstance(side, ast.Call) and isinstance(side.func, ast.Name) and side.func.id == "len")
    )


def _operators(node: ast.AST) -> Iterator[tuple[ast.AST, ast.expr, ast.expr]]:
    """Each operator of a node with what stands on both of its sides."""
    if isinstance(node, ast.BinOp):
        yield node.op, node.left, node.right
    elif isinstance(node, ast.Compare):
        yield node.ops[0], node.left, node.comparators[0]
    elif isinstance(node, ast.BoolOp):
        yield node.op, node.values[0], node.values[1]


def _caught(copy: Path, mutation: Mutation) -> bool:
    """Whether a fast test fails on the changed copy; the tests that bear the file's name run first."""
    target = copy / mutation.path
    whole = target.read_text(encoding="utf-8")
    lines = whole.splitlines(keepends=True)
    lines[mutation.line - 1] = mutation.after + "\n"
    target.write_text("".join(lines), encoding="utf-8")
    package = mutation.path.parts[2]
    nearest = sorted(
        str(p.relative_to(copy)) for p in (copy / "tests" / package).glob(f"test_*{mutation.path.stem}*.py")
    )
    others = [[f"tests/{folder}"] for folder in _FOLDERS if folder != package]
    first = [["tests/test_figures.py"], *([nearest] if nearest else []), [f"tests/{package}"]]
    try:
        return any(_fails(copy, tests) for tests in [*first, *others])
    finally:
        target.write_text(whole, encoding="utf-8")


def _fails(copy: Path, tests: list[str]) -> bool:
    """Whether these fast tests fail, or hang, in the copy."""
    command = [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", *tests]
    try:
        done = subprocess.run(
            command,
            check=False,
            cwd=copy,
            env=_environment(copy),
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            timeout=300,
        )
    except subprocess.TimeoutExpired:
        return True
    return done.returncode not in (0, 5)


def _environment(copy: Path) -> dict[str, str]:
    """The copy's own source before any that is installed."""
    return {**os.environ, "PYTHONPATH": str(copy / "src"), "PYTHONDONTWRITEBYTECODE": "1"}


def main(count: int = 40, seed: int = 1) -> None:
    """Make and try so many changes, print the survivors."""
    every = [
        mutation
        for package in PURE
        for file in sorted((ROOT / "src" / "heeltap" / package).rglob("*.py"))
        for mutation in mutations_of(file.relative_to(ROOT), file.read_text(encoding="utf-8"))
    ]
    chosen = random.Random(seed).sample(every, count)
    survivors = []
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "heeltap"
        shutil.copytree(ROOT, copy, ignore=shutil.ignore_patterns(".git", "__pycache__", ".venv"))
        if any(_fails(copy, [f"tests/{name}"]) for name in _FOLDERS):
            sys.exit("the tests fail before anything is changed")
        for number, mutation in enumerate(chosen, 1):
            caught = _caught(copy, mutation)
            print(f"{number:3d} {'caught  ' if caught else 'SURVIVED'} {mutation.path}:{mutation.line}", flush=True)
            if not caught:
                survivors.append(mutation)
    print(f"\n{count - len(survivors)} of {count} single-line faults caught (of {len(every)} possible; seed {seed})")
    for mutation in survivors:
        print(f"{mutation.path}:{mutation.line}\n  - {mutation.before.strip()}\n  + {mutation.after.strip()}")


if __name__ == "__main__":
    main(*(int(text) for text in sys.argv[1:3]))
