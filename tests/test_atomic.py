"""Files are whole or absent, whatever happens."""

from __future__ import annotations

import errno
from pathlib import Path

import pytest

from evenhand.atomic import refused, whole_file, write_whole
from evenhand.errors import TargetError


def test_content_arrives_whole(tmp_path: Path) -> None:
    """What is written is what is there, and no temporary file stays."""
    write_whole(tmp_path / "a.json", b"bread")

    assert (tmp_path / "a.json").read_bytes() == b"bread"
    assert [p.name for p in tmp_path.iterdir()] == ["a.json"]


@pytest.mark.parametrize("accident", [RuntimeError("codec"), KeyboardInterrupt()])
def test_an_accident_leaves_what_was_there(tmp_path: Path, accident: BaseException) -> None:
    """An error or ctrl-c in the middle keeps the old content and leaves no partial file."""
    target = tmp_path / "a.json"
    write_whole(target, b"old")

    def write() -> None:
        with whole_file(target) as partial:
            partial.write_bytes(b"ne")
            raise accident

    with pytest.raises(type(accident)):
        write()

    assert target.read_bytes() == b"old"
    assert [p.name for p in tmp_path.iterdir()] == ["a.json"]


def test_a_missing_folder_is_said_plainly(tmp_path: Path) -> None:
    """The message names the file and what to do."""
    with pytest.raises(TargetError, match="its folder does not exist"):
        write_whole(tmp_path / "nowhere" / "a.json", b"")


@pytest.mark.parametrize(
    ("code", "words"),
    [
        (errno.ENOSPC, "no space left"),
        (errno.EROFS, "read-only"),
        (errno.EACCES, "may not be written to"),
        (errno.EIO, "the disk refused it"),
    ],
)
def test_what_the_disk_says_becomes_words(code: int, words: str) -> None:
    """Every refusal of the system has a sentence and a remedy."""
    assert words in str(refused(Path("x.mp4"), OSError(code, "said the system")))
