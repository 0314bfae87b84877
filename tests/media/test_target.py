"""A place that cannot take a file says so before any work."""

from __future__ import annotations

from pathlib import Path

import pytest

from evenhand.errors import TargetError
from evenhand.media import target
from evenhand.media.target import check_target


def test_a_free_name_in_a_folder_is_taken(tmp_path: Path) -> None:
    """Nothing is raised and nothing is made."""
    check_target(tmp_path / "a.mp4", needs=1000)

    assert list(tmp_path.iterdir()) == []


def test_a_file_in_the_place_of_the_folder_is_told(tmp_path: Path) -> None:
    """A name without its folder."""
    (tmp_path / "file").write_bytes(b"")

    with pytest.raises(TargetError, match="folder is a file"):
        check_target(tmp_path / "file" / "a.mp4")


def test_a_folder_of_that_name_is_never_replaced(tmp_path: Path) -> None:
    """Not even when overwriting is allowed."""
    (tmp_path / "a.mp4").mkdir()

    with pytest.raises(TargetError, match="a folder of this name"):
        check_target(tmp_path / "a.mp4", overwrite=True)


def test_a_dangling_link_counts_as_there(tmp_path: Path) -> None:
    """Its name is taken, although what it points to is gone."""
    (tmp_path / "a.mp4").symlink_to(tmp_path / "gone")

    with pytest.raises(TargetError, match="there already"):
        check_target(tmp_path / "a.mp4")


def test_a_folder_of_somebody_else_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The system's answer is put into words; root may write anywhere, so the answer is staged."""
    monkeypatch.setattr(target.os, "access", lambda path, mode: False)

    with pytest.raises(TargetError, match="may not be written to"):
        check_target(tmp_path / "a.mp4")


@pytest.mark.parametrize(
    ("needs", "said"), [(10**19, "about 10000000.0 TB"), (10**18, "about 1000000.0 TB")]
)
def test_the_room_is_said_in_units(tmp_path: Path, needs: int, said: str) -> None:
    """What is needed and what is free."""
    with pytest.raises(TargetError) as caught:
        check_target(tmp_path / "a.mp4", needs=needs)

    assert said in caught.value.found
    assert "are free" in caught.value.found
