"""Look files on disk: judged by their beginning before the rest is read."""

from __future__ import annotations

import os
import tracemalloc

import pytest

from evenhand.luts.errors import LookFileError
from evenhand.media.look_file import read_look_bytes

CUBE = b"LUT_3D_SIZE 2\n" + b"0 0 0\n" * 8


def test_a_look_is_read_whole(tmp_path):
    """To its last byte, beyond the first 64 KiB too."""
    path = tmp_path / "a.cube"
    path.write_bytes(CUBE + b"# end\n" * 20_000)

    assert read_look_bytes(path) == path.read_bytes()


@pytest.mark.parametrize(
    ("head", "size", "says"),
    [
        (CUBE, 500 << 20, "declares 8 rows"),
        (b"LUT_3D_SIZE 256\n0 nan 0\n" + b"0 0 0\n" * 20_000, 500 << 20, "line 2: 'nan'"),
        (CUBE, 4 << 30, "bytes, more than"),
        (b"<ProcessList>", 4 << 30, "bytes, more than"),
        (b"\x89PNG", 4 << 30, "a PNG picture"),
        (b"", 4 << 30, "binary data"),
    ],
)
def test_a_gigabyte_is_refused_without_being_read(tmp_path, head, size, says):
    """A sparse file of up to 4 GB: refused by its head, in a few megabytes of memory."""
    path = tmp_path / "big.cube"
    path.write_bytes(head)
    os.truncate(path, size)
    tracemalloc.start()

    with pytest.raises(LookFileError, match=says) as caught:
        read_look_bytes(path)

    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < 4 << 20
    assert caught.value.subject == path


def test_what_is_no_file_is_refused(tmp_path):
    """A folder, a pipe, which must not make it wait, and nothing at all."""
    os.mkfifo(tmp_path / "pipe.cube")

    for name, says in [
        ("", "not a regular file"),
        ("pipe.cube", "not a regular file"),
        ("none.cube", "No such"),
    ]:
        with pytest.raises(LookFileError, match=says):
            read_look_bytes(tmp_path / name)
