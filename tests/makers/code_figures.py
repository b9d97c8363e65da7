"""How long, how documented and how branched functions are, here and elsewhere, counted the same way for everybody.

``python -m tests.makers.code_figures mir_eval mido textual`` prints a table in Markdown: our package first, then the
installed packages that you name (a folder works, too). Nothing is imported: the files are parsed.

A function's length is its lines without its docstring; nested functions count on their own and with their owner. Its
complexity is McCabe's (1976): one, and one more for each ``if``, loop, ``except``, ternary, comprehension and its
conditions, ``case``, and each further operand of ``and`` / ``or``.
"""

import ast
import importlib.util
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

__all__ = ["Figures", "complexity", "figures_of", "length", "table"]

OURS = Path(__file__).resolve().parents[2] / "src" / "heeltap"

MOST_LINES = 35
"""Our own limit for a function."""

MOST_FILE_LINES = 400
"""Our own limit for a file."""

_FUNCTIONS = (ast.FunctionDef, ast.AsyncFunctionDef)
_BRANCHES = (ast.If, ast.For, ast.AsyncFor, ast.While, ast.ExceptHandler, ast.IfExp, ast.match_case)


@dataclass(frozen=True, slots=True)
class Figures:
    """The figures of one package."""

    name: str
    lines: int
    """Lines of all files, comments and blank ones with them."""
    functions: int
    median_length: float
    p95_length: float
    long_percent: float
    """Functions longer than `MOST_LINES`, in a hundred."""
    long_files: int
    """Files longer than `MOST_FILE_LINES`."""
    documented_percent: float
    """Public functions and methods with a docstring, in a hundred."""
    parameters_percent: float
    """Of those that take arguments, public ones whose docstring lists them, in a hundred."""
    mean_complexity: float
    p95_complexity: float
    most_complexity: int


def figures_of(name: str, folder: Path) -> Figures:
    """The figures of every Python file under ``folder``, tests and vendored code left out."""
    texts = [path.read_text(encoding="utf-8") for path in sorted(folder.rglob("*.py")) if not _apart(path, folder)]
    functions = [found for text in texts for found in _functions(ast.parse(text))]
    lengths = np.array([length(function) for function, _ in functions])
    branches = np.array([complexity(function) for function, _ in functions])
    public = [function for function, public in functions if public]
    docs = [ast.get_docstring(function) or "" for function in public]
    listed = [_lists_parameters(doc) for function, doc in zip(public, docs, strict=True) if _takes_any(function)]
    return Figures(
        name,
        sum(text.count("\n") for text in texts),
        len(functions),
        float(np.median(lengths)),
        float(np.percentile(lengths, 95)),
        float(100 * np.mean(lengths > MOST_LINES)),
        sum(text.count("\n") > MOST_FILE_LINES for text in texts),
        float(100 * np.mean([bool(doc) for doc in docs])),
        float(100 * np.mean(listed)),
        float(np.mean(branches)),
        float(np.percentile(branches, 95)),
        int(branches.max()),
    )


def _apart(path: Path, folder: Path) -> bool:
    return bool({"tests", "test", "_vendor", "vendor", "vendored"} & set(path.relative_to(folder).parts))


def _functions(module: ast.Module) -> Iterator[tuple[ast.FunctionDef | ast.AsyncFunctionDef, bool]]:
    """Every function, and whether it is public: at module level or in a public class, without an underscore."""
    waiting: list[tuple[ast.AST, bool]] = [(module, True)]
    while waiting:
        owner, public = waiting.pop()
        for node in ast.iter_child_nodes(owner):
            here = public
            if isinstance(node, _FUNCTIONS):
                yield node, public and not node.name.startswith("_")
                here = False
            elif isinstance(node, ast.ClassDef):
                here = public and not node.name.startswith("_")
            waiting.append((node, here))


def length(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Lines from ``def`` to the end, without the docstring."""
    first = function.body[0]
    has_docstring = ast.get_docstring(function) is not None
    docstring = (first.end_lineno or first.lineno) - first.lineno + 1 if has_docstring else 0
    return (function.end_lineno or function.lineno) - function.lineno + 1 - docstring


def complexity(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """McCabe's number of the function, with what is nested in it."""
    total = 1
    for node in ast.walk(function):
        if isinstance(node, _BRANCHES):
            total += 1
        elif isinstance(node, ast.comprehension):
            total += 1 + len(node.ifs)
        elif isinstance(node, ast.BoolOp):
            total += len(node.values) - 1
    return total


def _takes_any(function: ast.FunctionDef | ast.AsyncFunctionDef) -> bool:
    spec = function.args
    every = [*spec.posonlyargs, *spec.args, *spec.kwonlyargs, *filter(None, (spec.vararg, spec.kwarg))]
    return any(one.arg not in ("self", "cls") for one in every)


def _lists_parameters(docstring: str) -> bool:
    """Whether arguments have entries of their own, in any of the usual dialects."""
    return any(mark in docstring for mark in ("Parameters\n", "Args:\n", "Arguments:\n", ":param "))


def table(rows: list[Figures]) -> str:
    """The figures in Markdown, a package a row."""
    head = (
        f"| package | lines | functions | length: median, 95 % | over {MOST_LINES} | files over {MOST_FILE_LINES} | docstring "
        "| arguments listed | complexity: mean, 95 %, most |"
    )
    lines = [head, "|---|---|---|---|---|---|---|---|---|"]
    lines += [
        f"| {row.name} | {row.lines:,} | {row.functions:,} | {row.median_length:.0f}, {row.p95_length:.0f} "
        f"| {row.long_percent:.1f} % | {row.long_files} | {row.documented_percent:.0f} % | {row.parameters_percent:.0f} % "
        f"| {row.mean_complexity:.1f}, {row.p95_complexity:.0f}, {row.most_complexity} |"
        for row in rows
    ]
    return "\n".join(lines)


def _folder_of(name: str) -> Path:
    if Path(name).is_dir():
        return Path(name)
    spec = importlib.util.find_spec(name)
    if spec is None or not spec.submodule_search_locations:
        raise SystemExit(f"{name}: no package of this name is installed, and no such folder")
    return Path(spec.submodule_search_locations[0])


if __name__ == "__main__":
    rows = [figures_of("heeltap", OURS)]
    rows += [figures_of(f"heeltap.{name}", OURS / name) for name in ("model", "analysis", "course", "classroom")]
    rows += [figures_of(Path(name).name, _folder_of(name)) for name in sys.argv[1:]]
    print(table(rows))
