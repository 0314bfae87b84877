"""Masters are written whole, labelled twice, or not at all."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import av
import msgspec
import numpy as np
import pytest
import tiny_masters
from tiny_masters import HEIGHT, WIDTH, numbers, order, picture, spec, write

from evenhand.errors import MasterRejectedError, TargetError, UsageError
from evenhand.media.encode import MasterWriter, room_needed

pytestmark = pytest.mark.media

_KILLED = """
import os, signal, sys
from pathlib import Path
from evenhand.atomic import partial_name
partial_name(Path(sys.argv[1])).write_bytes(b"half")
os.kill(os.getpid(), signal.SIGKILL)
"""


@pytest.mark.parametrize("name", ["web-720", "web-uhd-hlg", "archive"])
def test_a_master_holds_the_frames_in_order_and_passes_its_checks(
    tmp_path: Path, name: str
) -> None:
    """Numbered pictures go in and come out of another reader in the same order."""
    target = tmp_path / "master.mov"
    writer = write(target, order(30, name))

    assert writer.verification is not None
    assert writer.verification.failures == ()
    assert numbers(target) == list(range(30))
    assert list(tmp_path.iterdir()) == [target]


def test_an_h264_master_of_eight_bits_can_be_ordered(tmp_path: Path) -> None:
    """A spec of one's own may ask for it."""
    changes = {"codec": "h264", "codec_tag": "avc1", "pixel_format": "yuv420p"}
    level = spec().quality["draft"]
    level = msgspec.structs.replace(level, encoder={"preset": "veryfast", "crf": "12"})
    wanted = order(20, profile="High", quality={"draft": level}, **changes)
    write(tmp_path / "a.mp4", wanted)

    assert numbers(tmp_path / "a.mp4") == list(range(20))


def test_a_key_frame_comes_at_least_every_two_seconds(tmp_path: Path) -> None:
    """Two seconds at 25 fps are 50 frames; players seek by key frames."""
    write(tmp_path / "a.mp4", order(120))
    with av.open(str(tmp_path / "a.mp4")) as container:
        keys = [round(p.pts * p.time_base * 25) for p in container.demux(video=0) if p.is_keyframe]

    assert max(np.diff([*keys, 120])) <= 50


@pytest.mark.parametrize("name", ["web-720", "archive"])
def test_lines_padded_in_memory_come_out_right(tmp_path: Path, name: str) -> None:
    """At 854 wide, memory lines are longer than the picture; a slip here skews every line."""
    wanted = spec(name)
    rows = 32 if wanted.chroma == "4:2:2" else 16
    y = np.tile(np.linspace(100, 900, 854), (32, 1)).astype(np.uint16)
    u = np.tile(np.linspace(300, 700, 427), (rows, 1)).astype(np.uint16)
    plan = msgspec.structs.replace(order(3, name).plan, width=854, height=32)
    with MasterWriter(tmp_path / "a.mov", replace(order(3, name), plan=plan)) as writer:
        for _ in range(3):
            writer.write(y, u, u)

    assert writer.verification is not None
    assert writer.verification.compared_frames == (0, 1, 2)
    assert (writer.verification.psnr_y_min or np.inf) > 40


def test_a_frame_filled_in_place_is_the_same_as_one_given(tmp_path: Path) -> None:
    """`blank` hands out the encoder's own memory; the bytes of the two masters are equal."""
    write(tmp_path / "given.mov", order(8, "archive"))
    with MasterWriter(tmp_path / "filled.mov", order(8, "archive")) as writer:
        for index in range(8):
            planes = writer.blank()
            for blank, values in zip(planes, picture(index, writer.order.spec), strict=True):
                blank[:] = values
            writer.write(*planes)

    assert (tmp_path / "filled.mov").read_bytes() == (tmp_path / "given.mov").read_bytes()


def test_planes_of_another_shape_are_refused(tmp_path: Path) -> None:
    """Rather than being cut or stretched."""
    with (
        pytest.raises(ValueError, match="expected uint16"),
        MasterWriter(tmp_path / "a.mp4", order(1)) as writer,
    ):
        writer.write(*(np.zeros((8, 8), np.uint16),) * 3)

    assert list(tmp_path.iterdir()) == []


def test_time_code_and_date_are_carried_and_nothing_else_is(tmp_path: Path) -> None:
    """A master says when and never where."""
    wanted = replace(order(5), timecode="10:00:00:05", created="2026-03-04T05:06:07Z")
    write(tmp_path / "a.mp4", wanted)
    with av.open(str(tmp_path / "a.mp4")) as container:
        stream = container.streams.video[0]

        assert stream.metadata["timecode"] == "10:00:00:05"
        assert container.metadata["creation_time"].startswith("2026-03-04T05:06:07")
        known = {"major_brand", "minor_version", "compatible_brands", "creation_time", "encoder"}
        assert set(container.metadata) <= known | {"timecode"}


@pytest.mark.parametrize("frames", [1, 2, 3, 7])
def test_a_very_short_master_can_be_made(tmp_path: Path, frames: int) -> None:
    """Shorter than the encoder's reordering of frames."""
    write(tmp_path / "a.mp4", order(frames))

    assert numbers(tmp_path / "a.mp4") == list(range(frames))


def test_a_malformed_time_code_is_noticed(tmp_path: Path) -> None:
    """The library leaves it out without a word; reading the master again shows it."""
    with pytest.raises(MasterRejectedError, match="time code"):
        write(tmp_path / "a.mp4", replace(order(5), timecode="ten o'clock"))

    assert list(tmp_path.iterdir()) == []


def test_unknown_encoder_settings_are_an_error(tmp_path: Path) -> None:
    """The library passes them over; a spec with a slip would be obeyed by half."""
    level = spec().quality["draft"]
    level = msgspec.structs.replace(level, encoder={**level.encoder, "nosuch": "1"})

    with pytest.raises(UsageError, match="nosuch"):
        write(tmp_path / "a.mp4", order(1, quality={"draft": level}))
    assert list(tmp_path.iterdir()) == []


def test_settings_the_encoder_refuses_are_an_error(tmp_path: Path) -> None:
    """A preset that does not exist."""
    level = spec().quality["draft"]
    level = msgspec.structs.replace(level, encoder={**level.encoder, "preset": "nosuch"})

    with pytest.raises(UsageError, match="refuses"):
        write(tmp_path / "a.mp4", order(1, quality={"draft": level}))
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("accident", [KeyboardInterrupt(), RuntimeError("the lamp went out")])
def test_an_accident_in_the_middle_leaves_nothing(tmp_path: Path, accident: BaseException) -> None:
    """Ctrl-c and errors of the caller pass through, and the partial file is gone."""

    def work() -> None:
        with MasterWriter(tmp_path / "a.mp4", order(20)) as writer:
            writer.write(*picture(0, writer.order.spec))
            assert [path.suffix for path in tmp_path.iterdir()] == [".part"]
            raise accident

    with pytest.raises(type(accident)) as caught:
        work()

    assert caught.value is accident
    assert list(tmp_path.iterdir()) == []


def test_the_caller_hears_of_both_halves_of_the_work(tmp_path: Path) -> None:
    """Frames written, then frames read again."""
    heard: list[int] = []
    with MasterWriter(tmp_path / "a.mp4", order(3), verifying=heard.append) as writer:
        for index in range(3):
            writer.write(*picture(index, writer.order.spec))
            assert writer.written == index + 1

    assert heard == [1, 2, 3]


def test_too_few_frames_are_noticed(tmp_path: Path) -> None:
    """A clip that ends early must not become a short master under the final name."""
    with pytest.raises(MasterRejectedError, match="frames: expected 10, found 7"):
        write(tmp_path / "a.mp4", order(10), frames=list(range(7)))

    assert list(tmp_path.iterdir()) == []


def test_an_existing_file_is_left_alone(tmp_path: Path) -> None:
    """Unless the person says otherwise."""
    target = tmp_path / "a.mp4"
    target.write_bytes(b"mine")

    with pytest.raises(TargetError, match="there already"):
        write(target, order(3))
    assert target.read_bytes() == b"mine"

    with MasterWriter(target, order(1), overwrite=True) as writer:
        writer.write(*picture(0, writer.order.spec))
    assert numbers(target) == [0]


def test_a_file_that_appears_meanwhile_is_left_alone(tmp_path: Path) -> None:
    """Encoding takes hours; what another program put there since is not ours."""
    target = tmp_path / "a.mp4"

    def work() -> None:
        with MasterWriter(target, order(1)) as writer:
            writer.write(*picture(0, writer.order.spec))
            target.write_bytes(b"mine")

    with pytest.raises(TargetError, match="there already"):
        work()

    assert [path.read_bytes() for path in tmp_path.iterdir()] == [b"mine"]


def test_a_partial_file_of_a_killed_run_is_cleared_away(tmp_path: Path) -> None:
    """At the next master of the same name."""
    run = subprocess.run(
        [sys.executable, "-c", _KILLED, str(tmp_path / "a.mp4")], check=False, timeout=60
    )
    left = [path.suffix for path in tmp_path.iterdir()]
    write(tmp_path / "a.mp4", order(3))

    assert run.returncode == -signal.SIGKILL
    assert left == [".part"]
    assert [path.name for path in tmp_path.iterdir()] == ["a.mp4"]


def test_two_writers_of_one_master_leave_each_other_alone(tmp_path: Path) -> None:
    """The one that is done later has the name; both were whole."""
    with MasterWriter(tmp_path / "a.mp4", order(6), overwrite=True) as first:
        first.write(*picture(0, first.order.spec))
        second = write(tmp_path / "a.mp4", order(12))
        for index in range(1, 6):
            first.write(*picture(index, first.order.spec))

    assert [w.verification and w.verification.failures for w in (first, second)] == [(), ()]
    assert numbers(tmp_path / "a.mp4") == list(range(6))
    assert [path.name for path in tmp_path.iterdir()] == ["a.mp4"]


def test_a_missing_folder_is_said_before_any_work(tmp_path: Path) -> None:
    """The folder is not made: a mistyped drive must not be filled up in its place."""
    with pytest.raises(TargetError, match="does not exist"):
        write(tmp_path / "absent" / "a.mp4", order(1))

    assert list(tmp_path.iterdir()) == []


def test_too_little_room_is_said_before_any_work(tmp_path: Path) -> None:
    """A hundred million frames fit nowhere."""
    with pytest.raises(TargetError, match=r"are needed and .* are free"):
        write(tmp_path / "a.mp4", order(10**10))

    assert list(tmp_path.iterdir()) == []


def test_the_room_needed_is_a_tenth_above_the_estimate() -> None:
    """0.30 bits a pixel at the draft level, worked out by hand for 100 frames."""
    by_hand = 1.1 * 0.30 * WIDTH * HEIGHT * 100 / 8

    assert room_needed(order(100)) == pytest.approx(by_hand, abs=1)


@contextlib.contextmanager
def mounted(folder: Path, options: str) -> Iterator[Path]:
    """A file system of its own in memory; skips where that is not allowed."""
    folder.mkdir()
    call = ["mount", "-t", "tmpfs", "-o", options, "tmpfs", str(folder)]
    done = sys.platform == "linux" and os.geteuid() == 0 and subprocess.run(call, check=False)
    if not done or done.returncode:
        pytest.skip("only root on Linux may mount a small file system")
    try:
        yield folder
    finally:
        subprocess.run(["umount", str(folder)], check=True)


@pytest.mark.parametrize("share", [0.05, 0.5, 1.0])
def test_a_drive_that_fills_up_leaves_nothing_half_made(tmp_path: Path, share: float) -> None:
    """Full at the start, in the middle, and when only the last page of the index is left."""
    level = msgspec.structs.replace(spec("archive").quality["draft"], bits_per_pixel=1e-6)
    wanted = order(40, "archive", quality={"draft": level})
    write(tmp_path / "whole.mov", wanted)
    pages = int((tmp_path / "whole.mov").stat().st_size * share) // 4096
    with mounted(tmp_path / "drive", f"size={pages * 4}k") as drive:
        with pytest.raises(TargetError, match="no space left"):
            write(drive / "a.mov", wanted)

        assert list(drive.iterdir()) == []


def test_a_drive_that_is_read_only_is_said_plainly(tmp_path: Path) -> None:
    """Before any work."""
    with mounted(tmp_path / "drive", "ro") as drive, pytest.raises(TargetError, match="read-only"):
        write(drive / "a.mp4", order(1))


LIMITED = """
import resource, signal, sys
from pathlib import Path
sys.path.insert(0, sys.argv[2])
import msgspec
from evenhand.errors import TargetError
from tiny_masters import order, spec, write
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[3]), resource.RLIM_INFINITY))
level = msgspec.structs.replace(spec("archive").quality["draft"], bits_per_pixel=1e-6)
try:
    write(Path(sys.argv[1]), order(40, "archive", quality={"draft": level}))
except TargetError as error:
    sys.exit(f"said: {error}")
"""


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="no file size limit there")
def test_a_file_that_may_not_grow_leaves_nothing_half_made(tmp_path: Path) -> None:
    """Some drives refuse large files; here a limit of the system plays the part."""
    here = str(Path(tiny_masters.__file__).parent)
    call = [sys.executable, "-c", LIMITED, str(tmp_path / "a.mov"), here, "50000"]
    done = subprocess.run(call, capture_output=True, text=True, check=False)

    assert "said: " in done.stderr
    assert "file of this size" in done.stderr
    assert list(tmp_path.iterdir()) == []
