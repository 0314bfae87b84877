"""Every code that is made has words, every word has a maker, and measuring holds no prose."""

from __future__ import annotations

import ast
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest

from evenhand.wording.saying import tables

SOURCE = Path(__file__).parents[2] / "src" / "evenhand"
MODULES = sorted(SOURCE.rglob("*.py"))
# What levelling measures and decides with; its records are kept in files.
LEVELLING = (
    "absolute", "agreement", "beforeafter", "chains", "chart", "confidence", "decisions",
    "evenness", "levelling", "matching", "neighbours", "overlap", "places", "proposals", "quality",
    "reference", "twolights", "whites",
)  # fmt: skip

SKIN = ("skin/check", "skin/faces", "skin/reading")
IDENTITY = ("identity/clues", "identity/evidence", "identity/picture", "identity/tags")


def made(module: Path) -> Iterator[str]:
    """The codes that a module hands to `because`, also where it chooses between two."""
    for node in ast.walk(ast.parse(module.read_text("utf-8"))):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.args:
            if node.func.id != "because":
                continue
            for part in ast.walk(node.args[0]):
                if isinstance(part, ast.Constant) and str(part.value).strip(".").count("."):
                    yield part.value


MEASURED = {code for module in (SOURCE / "measure").rglob("*.py") for code in made(module)}
CODES = {code for module in MODULES for code in made(module)}
# An error that is kept names its kind as its fourth word.
CODES |= {
    f"unreadable.{node.args[3].value}"
    for module in MODULES
    for node in ast.walk(ast.parse(module.read_text("utf-8")))
    if isinstance(node, ast.Call)
    and getattr(node.func, "id", "") == "ClipError"
    and len(node.args) > 3
    and isinstance(node.args[3], ast.Constant)
}
WORDED = Counter(code for table in tables() for code in table)


def test_codes_are_found() -> None:
    """The search finds what there is: an empty list would pass everything below."""
    assert {"match.points-agree", "level.alone", "level.reference"} <= MEASURED
    assert "trust.set" in CODES


def test_every_code_has_a_clause() -> None:
    """Nothing that is measured, or that may set a clip, is shown to a person as a code."""
    trust = set(made(SOURCE / "jobs" / "explain.py"))

    kept = {
        code
        for code in CODES
        if code.partition(".")[0] in ("damage", "unreadable", "master", "skin")
    }

    assert sorted((MEASURED | trust | kept) - set(WORDED)) == []


def test_no_clause_is_without_a_maker() -> None:
    """Words that nobody says are not kept."""
    assert sorted(set(WORDED) - CODES) == []


def test_no_code_has_two_clauses() -> None:
    """One place for each word."""
    assert [code for code, count in WORDED.items() if count > 1] == []


def prose(module: Path) -> Iterator[str]:
    """Strings of three words or more, docstrings and what an error is raised with aside."""
    tree = ast.parse(module.read_text("utf-8"))
    aside: set[ast.AST] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Raise):
            aside.update(ast.walk(node))
        elif isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            aside.add(node.value)  # a docstring, of a module, a function or a field
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and node not in aside:
            yield from [node.value] if len(node.value.split()) >= 3 else []


@pytest.mark.parametrize("name", [*LEVELLING, *IDENTITY, *SKIN])
def test_measuring_holds_no_prose(name: str) -> None:
    """What is kept are codes and figures; sentences are made when they are shown."""
    assert list(prose(SOURCE / "measure" / f"{name}.py")) == []


def test_prose_is_seen(tmp_path: Path) -> None:
    """The search finds a sentence that is put together, and lets the others be."""
    module = tmp_path / "some.py"
    module.write_text(
        '"""A docstring of many words."""\n'
        "def f(x):\n"
        '    """Another docstring of many words."""\n'
        '    if x:\n        raise ValueError(f"an error of {x} words")\n'
        '    return f"the light is {x} stops off", "one-code"\n'
    )

    assert list(prose(module)) == ["the light is "]
