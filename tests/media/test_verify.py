"""A master that is not what was meant is told, whatever is wrong with it."""

from __future__ import annotations

import struct
from pathlib import Path

import msgspec
import numpy as np
import pytest
from av.video.frame import VideoFrame
from tiny_masters import order, picture, spec, write

from evenhand.errors import MasterRejectedError
from evenhand.measure.quality import thumbnail
from evenhand.media import encode
from evenhand.media.encode import MasterWriter
from evenhand.media.pixels import planes_of
from evenhand.media.records import ColourTags
from evenhand.media.unlabelled import bitstream_tags
from evenhand.media.verify import MasterExpectation, Verification, verify_master

pytestmark = pytest.mark.media

FRAMES = 24


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, MasterExpectation]:
    """A sound master and what was expected of it."""
    target = tmp_path_factory.mktemp("masters") / "a.mp4"
    writer = write(target, order(FRAMES))
    return target, writer.order.expectation()


def verified(path: Path, expected: MasterExpectation, shown: list[int]) -> Verification:
    """Verify a file against the pictures with these numbers."""
    wanted = spec()
    samples = {i: picture(shown[i], wanted) for i in (0, 11, FRAMES - 1)}
    thumbnails = np.array([thumbnail(picture(i, wanted)[0]) for i in shown])
    return verify_master(path, expected, samples, thumbnails)


def names(found: Verification) -> set[str]:
    """The checks that failed."""
    return {check.name for check in found.failures}


def test_a_sound_master_passes(made: tuple[Path, MasterExpectation]) -> None:
    """Nothing is found, and the figures are there."""
    found = verified(*made, list(range(FRAMES)))

    assert found.failures == ()
    assert found.compared_frames == (0, 11, 23)
    assert found.psnr_y_min is not None
    assert found.psnr_y_min <= (found.psnr_y_mean or 0)


@pytest.mark.parametrize(
    ("change", "failing"),
    [
        ({"frames": FRAMES + 1}, {"frames", "duration"}),
        ({"width": 126}, {"size"}),
        ({"rate": "24"}, {"stated rate", "duration", "times of the frames"}),
        ({"codec_tag": "hev1"}, {"codec tag"}),
        ({"codec": "h264"}, {"codec"}),
        ({"profile": "Main"}, {"profile"}),
        ({"pixel_format": "yuv422p10le"}, {"pixel format"}),
        ({"timecode": "10:00:00:00"}, {"time code"}),
        ({"psnr_luma": 90.0}, {"PSNR, luma"}),
        ({"psnr_chroma": 90.0}, {"PSNR, chroma"}),
        (
            {"tags": ColourTags(9, 18, 9, full_range=False)},
            {"colour, container", "colour, bitstream"},
        ),
        (
            {"tags": ColourTags(1, 1, 1, full_range=True)},
            {"colour, container", "colour, bitstream"},
        ),
    ],
)
def test_whatever_differs_is_named(
    made: tuple[Path, MasterExpectation], change: dict[str, object], failing: set[str]
) -> None:
    """One difference, and only the checks that are about it."""
    path, expected = made
    found = verified(path, msgspec.structs.replace(expected, **change), list(range(FRAMES)))

    assert names(found) == failing


def test_two_frames_that_change_places_are_found(made: tuple[Path, MasterExpectation]) -> None:
    """Neither is among the compared ones; the thumbnails of all frames tell."""
    shown = list(range(FRAMES))
    shown[5], shown[6] = 6, 5

    assert names(verified(*made, shown)) == {"order of frames"}


def test_a_compared_frame_that_is_another_is_found(made: tuple[Path, MasterExpectation]) -> None:
    """Its PSNR is far below the bound."""
    shown = list(range(FRAMES))
    shown[11] = 15
    found = verified(*made, shown)

    assert "PSNR, luma" in names(found)
    assert found.psnr_y_min is not None
    assert found.psnr_y_min < 25


def test_a_colour_box_that_lies_is_found(
    made: tuple[Path, MasterExpectation], tmp_path: Path
) -> None:
    """The container says HLG, the bitstream says BT.709: each is read by itself."""
    path, expected = made
    data = path.read_bytes()
    at = data.index(b"colrnclx")
    patched = data[: at + 8] + struct.pack(">3H", 9, 18, 9) + data[at + 14 :]
    wrong = tmp_path / "a.mp4"
    wrong.write_bytes(patched)

    assert bitstream_tags(wrong) == ColourTags(1, 1, 1, full_range=False)
    assert names(verified(wrong, expected, list(range(FRAMES)))) == {"colour, container"}


def test_a_rotation_in_the_track_header_is_found(
    made: tuple[Path, MasterExpectation], tmp_path: Path
) -> None:
    """A master's pixels are upright already; ISO/IEC 14496-12 keeps the matrix in `tkhd`."""
    path, expected = made
    data = bytearray(path.read_bytes())
    matrix = data.index(b"tkhd") + 4 + 40
    data[matrix : matrix + 36] = struct.pack(">9i", 0, 65536, 0, -65536, 0, 0, 0, 0, 1 << 30)
    wrong = tmp_path / "a.mp4"
    wrong.write_bytes(data)

    assert names(verified(wrong, expected, list(range(FRAMES)))) == {"rotation"}


@pytest.mark.parametrize("share", [0.3, 0.9])
def test_a_file_that_is_cut_is_found(
    made: tuple[Path, MasterExpectation], tmp_path: Path, share: float
) -> None:
    """Frames are missing, the last box reaches past the end, and no exception gets out."""
    path, expected = made
    data = path.read_bytes()
    wrong = tmp_path / "a.mp4"
    wrong.write_bytes(data[: int(len(data) * share)])
    failing = names(verified(wrong, expected, list(range(FRAMES))))

    assert "boxes" in failing or "readable" in failing


def test_an_index_behind_the_pictures_is_found(tmp_path: Path) -> None:
    """A master for the web starts playing before it is loaded."""
    wanted = order(FRAMES, faststart=False)
    write(tmp_path / "a.mp4", wanted)
    found = verified(tmp_path / "a.mp4", order(FRAMES).expectation(), list(range(FRAMES)))

    assert names(found) == {"index and picture data"}


def test_a_file_that_is_none_is_a_failed_check(
    made: tuple[Path, MasterExpectation], tmp_path: Path
) -> None:
    """Not an exception of a library."""
    wrong = tmp_path / "a.mp4"
    wrong.write_bytes(b"not a film")

    assert names(verify_master(wrong, made[1], {})) == {"readable"}


def test_a_rejected_master_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Tags left off the frames and the encoder: the writer's own reading finds it."""
    monkeypatch.setattr(encode, "_set_tags", lambda holder, tags: None)

    with pytest.raises(MasterRejectedError, match="colour, bitstream: expected 1-1-1, narrow"):
        write(tmp_path / "a.mp4", order(3))
    assert list(tmp_path.iterdir()) == []


def test_frames_in_the_wrong_order_leave_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The encoder is given pairs of pictures the wrong way round, as a faulty queue would."""
    plain = MasterWriter._label

    def swapped(self: MasterWriter, frame: VideoFrame, index: int) -> None:
        for plane, other in zip(planes_of(frame), picture(index ^ 1, spec()), strict=True):
            plane[:] = other
        plain(self, frame, index)

    monkeypatch.setattr(MasterWriter, "_label", swapped)

    with pytest.raises(MasterRejectedError, match=r"order of frames.*PSNR, luma"):
        write(tmp_path / "a.mp4", order(12))
    assert list(tmp_path.iterdir()) == []
