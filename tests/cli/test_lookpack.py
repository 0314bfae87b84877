"""`look pack`: exit statuses, what is said, and JSON."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Call = Callable[..., Any]


def test_a_pack_is_written_and_checked(call: Call, tmp_path: Path) -> None:
    """0 both times, the looks in a table, the findings a line each; 1 once it is spoiled."""
    said = call("look", "pack", "rye", "--to", "a.zip", "--size", "17", "--seller", "A. Baker")
    assert said.status == 0
    assert "rye   pass      100 %" in said.out
    assert "SHA-256" in said.out

    said = call("look", "pack", "--check", "a.zip")
    assert said.status == 0
    assert said.out.splitlines()[0].startswith("note: LICENCE.txt: ")
    assert said.out.splitlines()[-1].startswith("pass: a.zip: ")

    (tmp_path / "a.zip").write_bytes((tmp_path / "a.zip").read_bytes().replace(b"sheet", b"shelf"))
    said = call("look", "pack", "--check", "a.zip")
    assert said.status == 1
    assert "fail: sheet.png: missing" in said.out
    assert said.lines == []


def test_json(call: Call, monkeypatch: pytest.MonkeyPatch) -> None:
    """The index comes with what was written; a check tells its findings."""
    said = call(
        "look", "pack", "rye", "--to", "a.zip", "--size", "17", "--format", "cube", "--json"
    )
    made = json.loads(said.out)
    assert [look["name"] for look in made["index"]["looks"]] == ["rye"]
    assert said.err == ""

    checked = json.loads(call("look", "pack", "--check", "a.zip", "--json").out)
    assert checked["sha256"] == made["sha256"]
    assert [finding["level"] for finding in checked["findings"]] == ["note"]


@pytest.mark.parametrize(
    ("words", "status", "says"),
    [
        (("rye",), 2, "--to"),
        (("rye", "--to", "a.zip", "--check", "b.zip"), 2, "goes alone"),
        (("rye", "--to", "a.cube"), 2, "End the name with .zip"),
        (("no-such-look", "--to", "a.zip"), 2, "no look has this name"),
        (("rye", "rye", "--to", "a.zip"), 2, "two looks have this name"),
        (("rye", "--to", "a.zip", "--size", "34"), 2, "34"),
        (("rye", "--to", "a.zip", "--format", "png"), 2, "png"),
        (("rye", "--to", "a.zip", "--strength", "0%"), 2, "no look is left"),
        (("rye", "--to", "a.zip", "--gives", "hlg"), 2, "--space"),
        (("rye", "--to", "a.zip", "--name", "a\nb"), 2, "unprintable"),
        (("rye", "--to", "a.zip", "--licence", "none.txt"), 2, "cannot be read"),
        (("rye", "--to", "none/a.zip"), 1, "folder does not exist"),
        (("missing.cube", "--to", "a.zip"), 1, "cannot be read"),
        (("--check", "none.zip"), 1, "cannot be read"),
        (("--check", "tiny.toml"), 1, "no zip archive"),
    ],
)
def test_what_cannot_be_is_one_line(
    call: Call, words: tuple[str, ...], status: int, says: str
) -> None:
    """2 for wrong usage, 1 for what could not be done; nothing is written."""
    said = call("look", "pack", *words)

    assert said.status == status
    assert len(said.lines) == 1
    assert says in said.lines[0]
    assert list(Path().glob("*.zip")) == []
