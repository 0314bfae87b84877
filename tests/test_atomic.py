"""Files are whole or absent, whatever happens."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
from pathlib import Path

import pytest

from evenhand.atomic import clear_leftovers, partial_name, refused, whole_file, write_whole
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


_NAMES_ITS_PARTIAL = """
import sys
from pathlib import Path
from evenhand.atomic import partial_name
partial = partial_name(Path(sys.argv[1]))
partial.write_bytes(b"half")
print(partial.name, flush=True)
sys.stdin.read()
"""


def partial_of_another_process(target: Path) -> tuple[subprocess.Popen[str], Path]:
    """A process that has written half a file, and the file; it ends when its input is closed."""
    process = subprocess.Popen(
        [sys.executable, "-c", _NAMES_ITS_PARTIAL, str(target)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    return process, target.with_name(process.stdout.readline().strip())


def test_two_writers_of_one_file_have_two_temporary_names(tmp_path: Path) -> None:
    """In one process and in two: neither can take the other's away."""
    target = tmp_path / "a.mp4"
    process, theirs = partial_of_another_process(target)
    ours = {partial_name(target), partial_name(target)}
    process.communicate()

    assert len(ours) == 2
    assert theirs not in ours
    assert all(name.parent == tmp_path and name.name.startswith(".a.mp4.") for name in ours)


def test_what_a_running_process_writes_stays_and_what_a_dead_one_left_goes(tmp_path: Path) -> None:
    """The next write of the same target clears up, and nothing of another target."""
    target = tmp_path / "a.mp4"
    process, theirs = partial_of_another_process(target)
    write_whole(target, b"while the other writes")
    while_it_ran = theirs.exists()
    process.kill()
    process.communicate()
    write_whole(tmp_path / "b.mp4", b"another target")
    after_another = theirs.exists()
    write_whole(target, b"again")

    assert while_it_ran
    assert after_another
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.mp4", "b.mp4"]


def test_what_another_machine_writes_stays_for_a_week(tmp_path: Path) -> None:
    """Its processes cannot be asked; a file that has not grown for so long is nobody's."""
    target = tmp_path / "a.mp4"
    fresh, old = (tmp_path / f".a.mp4.{host}-1-0.part" for host in ("00000f", "00000e"))
    not_ours = tmp_path / ".a.mp4.part"
    for path in (fresh, old, not_ours):
        path.write_bytes(b"half")
        if path != fresh:
            os.utime(path, (0, 0))
    clear_leftovers(target)

    assert sorted(p for p in tmp_path.iterdir()) == sorted([fresh, not_ours])
