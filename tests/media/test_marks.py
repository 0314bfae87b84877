"""A master says of itself which it is, in a place that both containers keep."""

from __future__ import annotations

import os
import struct
from dataclasses import replace
from pathlib import Path

import av
import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tiny_masters import order, spec, write

from evenhand.errors import MasterRejectedError
from evenhand.media import encode
from evenhand.media.marks import MasterMark, parse_mark, read_mark, spec_digest
from evenhand.media.verify import verify_master

pytestmark = pytest.mark.media

MARK = MasterMark(
    clip="xxh3:0123456789abcdef",
    id="day 1/A001 ünder=way",
    grade="1f" * 32,
    spec="web-720",
    spec_digest=spec_digest(spec()),
    quality="draft",
    version="0.1.0",
)


def marked(path: Path, name: str = "web-720", **changes: str) -> Path:
    """A tiny master with a mark."""
    mark = msgspec.structs.replace(MARK, **changes)
    write(path, replace(order(3, name), mark=mark, created="2026-03-04T05:06:07Z"))
    return path


@pytest.mark.parametrize(
    ("name", "suffix"), [("web-720", "mp4"), ("web-uhd-hlg", "mp4"), ("archive", "mov")]
)
def test_a_mark_is_written_and_read_again(tmp_path: Path, name: str, suffix: str) -> None:
    """HEVC in MP4 and ProRes in MOV; another reader, FFmpeg's, finds the same line."""
    path = marked(tmp_path / f"a.{suffix}", name)
    with av.open(str(path)) as container:
        comment = container.metadata["comment"]
        keys = set(container.metadata)

    assert read_mark(path) == MARK
    assert comment == MARK.text
    assert comment.isascii()
    own = {"major_brand", "minor_version", "compatible_brands", "creation_time", "encoder"}
    assert keys == own | {"comment"}


def test_a_mark_outlives_being_put_into_another_container(tmp_path: Path) -> None:
    """FFmpeg carries a comment along where packets are copied from MP4 to MOV."""
    path = marked(tmp_path / "a.mp4")
    moved = tmp_path / "a.mov"
    with av.open(str(path)) as inside, av.open(str(moved), "w") as out:
        out.metadata.update(inside.metadata)
        stream = out.add_stream_from_template(inside.streams.video[0])
        for packet in inside.demux(video=0):
            if packet.dts is not None:
                packet.stream = stream
                out.mux(packet)

    assert read_mark(moved) == MARK


def test_the_checks_of_a_marked_master_pass_and_hold_no_place(tmp_path: Path) -> None:
    """The mark is one of the checks; the check for places finds none."""
    writer = write(tmp_path / "a.mp4", replace(order(3), mark=MARK))

    assert writer.verification is not None
    checks = {check.name: check for check in writer.verification.checks}
    assert checks["mark"].ok
    assert checks["place of the recording"].found == "none"


@pytest.mark.parametrize("change", ["clip", "grade", "spec_digest", "quality", "shape", "part"])
def test_another_mark_than_meant_is_found(tmp_path: Path, change: str) -> None:
    """Each part of what a master is; version and time of making are not among them."""
    path = marked(tmp_path / "a.mp4", version="0.2")
    other = msgspec.structs.replace(MARK, **{change: "2e" * 32})
    meant = replace(order(3), mark=MARK).expectation()

    def failing(mark: MasterMark) -> set[str]:
        expected = msgspec.structs.replace(meant, mark=mark)
        return {check.name for check in verify_master(path, expected, {}).failures}

    assert failing(MARK) == set()
    assert failing(other) == {"mark"}


def test_a_master_whose_mark_did_not_arrive_is_rejected(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Own keys are dropped by FFmpeg without a word."""
    monkeypatch.setattr(encode, "KEY", "com.example.mark")

    with pytest.raises(MasterRejectedError, match=r"mark: expected .* found none"):
        marked(tmp_path / "a.mp4")
    assert list(tmp_path.iterdir()) == []


def test_a_spec_has_another_digest_when_anything_in_it_changes() -> None:
    """Its name, its levels, its sound."""
    plain = spec()
    louder = msgspec.structs.replace(plain.sound, bit_rate=128_000)
    renamed = msgspec.structs.replace(plain, name="other")
    others = [renamed, spec(sound=louder), spec(default_quality="best")]

    assert len({spec_digest(s) for s in [plain, spec(), *others]}) == 4


@given(st.text(min_size=1, max_size=80))
def test_any_name_of_a_clip_comes_back(name: str) -> None:
    """Spaces, equals signs, line breaks, other scripts."""
    name = name.encode("utf-8", "replace").decode("utf-8")
    mark = msgspec.structs.replace(MARK, id=name)

    assert parse_mark(mark.text) == mark


@given(st.text(max_size=200))
def test_any_other_text_is_no_mark(text: str) -> None:
    """And nothing is raised."""
    assert parse_mark(text) is None
    parse_mark(MARK.text + text)
    assert parse_mark("evenhand " + text) is None


@pytest.mark.parametrize(
    "change",
    [
        ("grade=" + "1f" * 32, "grade=1f"),
        ("quality=draft", ""),
        ("quality=draft", "quality="),
        ("part=whole", "part=whole part=whole"),
        ("part=whole", "part=whole place=here"),
    ],
)
def test_a_mark_that_lacks_or_adds_something_is_none(change: tuple[str, str]) -> None:
    """What this version does not wholly understand it does not take for its own."""
    assert parse_mark(MARK.text.replace(*change)) is None


def test_files_that_carry_no_mark_have_none(tmp_path: Path) -> None:
    """A master without one, a missing file, a folder, text, a pipe that nobody writes to."""
    write(tmp_path / "a.mp4", order(3))
    (tmp_path / "b.mp4").write_text("no film", "utf-8")
    os.mkfifo(tmp_path / "c.mp4")

    for name in ("a.mp4", "b.mp4", "c.mp4", "d.mp4", "."):
        assert read_mark(tmp_path / name) is None


def test_a_hostile_index_raises_nothing(tmp_path: Path) -> None:
    """Every byte of the boxes around the mark changed, and the file cut at every one of them."""
    path = marked(tmp_path / "a.mp4")
    data = path.read_bytes()
    at = data.index(b"udta") - 4
    (length,) = struct.unpack_from(">I", data, at)
    end = data.index(b"evenhand clip") + 40
    broken = tmp_path / "b.mp4"
    found = set()
    for place in range(at, min(end, at + length)):
        for content in (
            data[:place],
            data[:place] + b"\xff" + data[place + 1 :],
            data[:place] + b"\x00" + data[place + 1 :],
        ):
            broken.write_bytes(content)
            found.add(read_mark(broken))

    assert found <= {None, MARK, *(m for m in found if m is not None and m.grade == MARK.grade)}
    assert None in found
