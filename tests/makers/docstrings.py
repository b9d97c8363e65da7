"""What public docstrings of the pure packages lack: ``python -m tests.makers.docstrings`` lists it, a test counts it.

A public function or method says in its docstring every parameter (with shape and unit where they matter), what it
returns, and what it raises; in ``analysis`` it or its module names a source or says that the formula is ours. Whether the
units are right only a reader can tell.
"""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

__all__ = ["PACKAGES", "lacks", "lacks_of_source"]

SOURCE = Path(__file__).resolve().parents[2] / "src" / "heeltap"

PACKAGES = ("model", "analysis", "course", "classroom")
"""The packages without input and output: the ones that another program would import."""

_FUNCTIONS = (ast.FunctionDef, ast.AsyncFunctionDef)

_SOURCE_OF_FORMULA = re.compile(r"\b[Oo]urs\b|\((?:19|20)\d\d[a-z]?\)|\b(?:19|20)\d\d\b")
"""A year, as every citation has one, or the word that says that we made it up."""


def lacks(package: str) -> list[str]:
    """One line for each thing that a public docstring of the package lacks, in the order of the files."""
    lines = []
    for path in sorted((SOURCE / package).rglob("*.py")):
        where = path.relative_to(SOURCE).as_posix()
        text = path.read_text(encoding="utf-8")
        lines += [f"{where}: {line}" for line in lacks_of_source(text, sources=package == "analysis")]
    return lines


def lacks_of_source(text: str, *, sources: bool = False) -> list[str]:
    """What the public functions of one module lack: "name: Parameters (bars, lean_ms)", "name: Returns", ..."""
    module = ast.parse(text)
    told = bool(_SOURCE_OF_FORMULA.search(ast.get_docstring(module) or ""))
    return [
        f"{name}: {missing}"
        for name, function in _public(module)
        for missing in _lacks_of(function, source=sources and not told)
    ]


def _public(module: ast.Module) -> Iterator[tuple[str, ast.FunctionDef | ast.AsyncFunctionDef]]:
    """Public functions, and public methods of public classes; a property is a field and needs no more than a line."""
    for node in module.body:
        if isinstance(node, _FUNCTIONS) and not node.name.startswith("_"):
            yield node.name, node
        elif isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
            for inner in node.body:
                if isinstance(inner, _FUNCTIONS) and not inner.name.startswith("_") and not _is_field(inner):
                    yield f"{node.name}.{inner.name}", inner


def _is_field(function: ast.FunctionDef | ast.AsyncFunctionDef) -> bool:
    return any(isinstance(mark, ast.Name) and "property" in mark.id for mark in function.decorator_list)


def _lacks_of(function: ast.FunctionDef | ast.AsyncFunctionDef, *, source: bool) -> Iterator[str]:
    text = ast.get_docstring(function) or ""
    if not text:
        yield "a docstring"
        return
    parts = _parts(text)
    entries = re.findall(r"^(\S.*?)(?: :.*)?$", parts.get("Parameters", ""), re.M)
    named = {name.strip("* ") for entry in entries for name in entry.split(",")}
    missing = [name for name in _parameters(function) if name not in named]
    if missing:
        yield f"Parameters ({', '.join(missing)})"
    if _returns(function) and not {"Returns", "Yields"} & set(parts):
        yield "Returns"
    if _raises(function) and "Raises" not in parts:
        yield "Raises"
    if source and not _SOURCE_OF_FORMULA.search(text):
        yield "a source, or Ours"


def _parts(text: str) -> dict[str, str]:
    """The titled parts of a numpydoc docstring, by title."""
    pieces = re.split(r"^(\w+)\n-{3,}\n?", text, flags=re.M)
    return dict(zip(pieces[1::2], pieces[2::2], strict=True))


def _parameters(function: ast.FunctionDef | ast.AsyncFunctionDef) -> list[str]:
    spec = function.args
    every = [*spec.posonlyargs, *spec.args, *spec.kwonlyargs, *filter(None, (spec.vararg, spec.kwarg))]
    return [one.arg for one in every if one.arg not in ("self", "cls") and not one.arg.startswith("_")]


def _returns(function: ast.FunctionDef | ast.AsyncFunctionDef) -> bool:
    nothing = function.returns is None or (
        isinstance(function.returns, ast.Constant) and function.returns.value is None
    )
    return not nothing and not (isinstance(function.returns, ast.Name) and function.returns.id == "NoReturn")


def _raises(function: ast.FunctionDef | ast.AsyncFunctionDef) -> bool:
    """Whether the body itself raises; what functions inside it raise is theirs."""
    waiting: list[ast.AST] = list(function.body)
    while waiting:
        node = waiting.pop()
        if isinstance(node, ast.Raise):
            return True
        if not isinstance(node, (*_FUNCTIONS, ast.Lambda, ast.ClassDef)):
            waiting += ast.iter_child_nodes(node)
    return False


if __name__ == "__main__":
    for package in PACKAGES:
        rows = lacks(package)
        print(f"{package}: {len(rows)}")
        print("".join(f"  {row}\n" for row in rows), end="")
