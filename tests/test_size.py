"""Limits that keep the code readable, and the purity of the layers that do no input or output."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

SOURCE = Path(__file__).parent.parent / "src"
MODULES = sorted(SOURCE.rglob("*.py"))
PURE_LAYERS = {"kernels", "colourmath", "luts", "grade", "measure"}
PURE = [m for m in MODULES if PURE_LAYERS & set(m.relative_to(SOURCE).parts)]
BANNED_NAMES = {"utils", "helpers", "common", "misc", "core"}
FILE_CALLS = {"open", "read_text", "write_text", "read_bytes", "write_bytes"}
# Loops that are compiled take their arrays one by one, and cannot be cut without losing speed.
COMPILED = {"kernels", "first_bread"}


def name_of(module: Path) -> str:
    return module.relative_to(SOURCE).as_posix()


def functions(module: Path) -> list[ast.FunctionDef | ast.AsyncFunctionDef]:
    tree = ast.parse(module.read_text("utf-8"))
    return [n for n in ast.walk(tree) if isinstance(n, ast.FunctionDef | ast.AsyncFunctionDef)]


def lines_of_body(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    first = function.body[0]
    is_docstring = isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant)
    start = (first.end_lineno or first.lineno) + 1 if is_docstring else first.lineno
    return (function.end_lineno or start) - start + 1


@pytest.mark.parametrize("module", MODULES, ids=name_of)
def test_module_can_be_held_in_the_head(module: Path) -> None:
    """No module is over 400 lines or named after nothing."""
    assert module.read_text("utf-8").count("\n") <= 400
    assert module.stem not in BANNED_NAMES


@pytest.mark.parametrize("module", MODULES, ids=name_of)
def test_functions_stay_small(module: Path) -> None:
    """No body is over 60 lines; outside compiled code none takes more than 6 parameters."""
    compiled = bool(COMPILED & set(module.relative_to(SOURCE).parts))

    long = [f.name for f in functions(module) if lines_of_body(f) > 60]
    wide = [f.name for f in functions(module) if len(f.args.args) + len(f.args.kwonlyargs) > 6]
    is_face = "cli" in module.parts  # a verb takes what a person may say

    assert long == []
    assert compiled or is_face or wide == []


@pytest.mark.parametrize("module", PURE, ids=name_of)
def test_pure_layers_open_no_file(module: Path) -> None:
    """The maths is handed arrays and bytes; it never opens a file."""
    tree = ast.parse(module.read_text("utf-8"))
    calls = [n.func for n in ast.walk(tree) if isinstance(n, ast.Call)]
    called = {getattr(c, "id", getattr(c, "attr", "")) for c in calls}

    assert called & FILE_CALLS == set()
