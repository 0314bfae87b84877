"""What is wrong with a file is kept as a code of its own, and each code has its words."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import av
import pytest

from evenhand.media.files import clip_error
from evenhand.wording.clips import CLAUSES

SOURCE = Path(__file__).parents[2] / "src" / "evenhand"
# What a scan runs: an error from here is kept in the shoot as the trouble of a file.
MET_BY_SCANS = ("children.py", "media/files.py", "media/probe.py", "media/decode.py")


def errors(module: str) -> Iterator[tuple[int, str | None]]:
    """Where a module makes a ClipError, and the code that it has, if it has one."""
    for node in ast.walk(ast.parse((SOURCE / module).read_text("utf-8"))):
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "ClipError":
            last = node.args[3] if len(node.args) > 3 else None
            yield node.lineno, str(last.value) if isinstance(last, ast.Constant) else None


@pytest.mark.parametrize("module", MET_BY_SCANS)
def test_every_error_that_a_scan_meets_has_a_code_with_words(module: str) -> None:
    """None is kept as no more than "no clip"."""
    found = list(errors(module))

    assert found
    assert [line for line, code in found if f"unreadable.{code}" not in CLAUSES] == []


@pytest.mark.parametrize(
    ("error", "code"),
    [
        (FileNotFoundError(2, "gone"), "gone"),
        (av.error.MemoryError(12, "much"), "beyond-memory"),
        (OSError(5, "input/output error"), "not-read"),
    ],
)
def test_errors_of_the_system_have_codes(tmp_path: Path, error: OSError, code: str) -> None:
    """A drive that is gone is another thing than one that cannot be read."""
    assert clip_error(tmp_path / "a.mov", error).code == code
