"""Masters show the right pictures at the right times, upright, and survive being stopped."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from types import ModuleType

import av
import numpy as np
import pytest

from evenhand.colourmath.encodings import named
from evenhand.colourmath.ycbcr import to_codes
from evenhand.grade.document import Grade
from evenhand.grade.exact import exact_transform
from evenhand.jobs.identify import scan
from evenhand.jobs.master import MasterOptions, MasterResult, master

pytestmark = pytest.mark.media
Mastered = Callable[..., MasterResult]
Numbers = Callable[[Path], list[int]]


def only(result: MasterResult) -> Path:
    assert result.undone == ()
    [entry] = result.made
    assert all(check.ok for check in entry.checks)
    return Path(entry.path)


def test_25_from_25_is_untouched(mastered: Mastered, numbers: Numbers) -> None:
    """Every frame once, in order."""
    result = mastered(frames=20, audio=1)

    assert numbers(only(result)) == list(range(20))
    assert (result.made[0].repeated, result.made[0].dropped) == (0, 0)


def test_a_variable_rate_is_conformed_by_presentation_time(
    mastered: Mastered, numbers: Numbers
) -> None:
    """Frames at 0, 20, 40, 120, 160 ms: slots of 40 ms take 0, 2, 2 or 3, 3, 4; counts are told.

    The nearest frame to 80 ms is as far from 40 as from 120; halfway the earlier one is shown.
    """
    ticks = [0, 1800, 3600, 10800, 14400]
    result = mastered(frames=5, times=ticks)

    assert numbers(only(result)) == [0, 2, 2, 3, 4]
    assert (result.made[0].repeated, result.made[0].dropped) == (1, 1)
    assert result.made[0].worst_time_error == pytest.approx(0.04)


def test_50_fps_becomes_25(mastered: Mastered, numbers: Numbers) -> None:
    """Every other frame."""
    result = mastered(frames=20, rate=Fraction(50))

    assert numbers(only(result)) == list(range(0, 20, 2))
    assert (result.made[0].repeated, result.made[0].dropped) == (0, 10)


def test_frames_hidden_by_an_edit_list_stay_hidden(mastered: Mastered, numbers: Numbers) -> None:
    """The edit is what the camera meant."""
    result = mastered(frames=20, hidden=5)

    assert numbers(only(result)) == list(range(5, 20))


@pytest.mark.slow
@pytest.mark.parametrize(
    ("matrix", "place"),
    [
        ((0, 1, -1, 0), "top right"),
        ((0, -1, 1, 0), "bottom left"),
        ((-1, 0, 0, -1), "bottom right"),
    ],
    ids=["90 clockwise", "90 anticlockwise", "180"],
)
def test_a_turned_clip_comes_out_upright(
    mastered: Mastered, synth: ModuleType, matrix: tuple[int, int, int, int], place: str
) -> None:
    """The bright corner of the coded picture lands where the display matrix puts it.

    Display matrices by ISO/IEC 14496-12: x' = a·x + c·y, y' = b·x + d·y, y downwards.
    """

    def corner(number: int) -> tuple[np.ndarray, ...]:  # bright at the top left, dark elsewhere
        luma = np.full((108, 192), 300, np.uint16)
        luma[:40, :60] = 700
        return luma, np.full((108, 96), 512, np.uint16), np.full((108, 96), 512, np.uint16)

    path = only(mastered(frames=3, matrix=matrix, picture=corner))
    with av.open(str(path)) as container:
        picture = next(container.decode(video=0)).to_ndarray(format="gray")

    upright = {"top left": picture[:20, :20], "top right": picture[:20, -20:],
               "bottom left": picture[-20:, :20], "bottom right": picture[-20:, -20:]}  # fmt: skip
    assert picture.shape == ((192, 108) if matrix[0] == 0 else (108, 192))
    assert max(upright, key=lambda name: float(upright[name].mean())) == place


@pytest.mark.slow
@pytest.mark.parametrize("size", [None, (384, 216), (96, 54)], ids=["as shot", "larger", "smaller"])
def test_a_flat_picture_gets_the_code_of_the_exact_transform(
    mastered: Mastered, size: tuple[int, int] | None
) -> None:
    """A grey card through the whole chain: within a code of what the exact transform says.

    Grey of phone log is code 492 (the published curve: 0.48827 of 64..940).
    """

    def grey(number: int) -> tuple[np.ndarray, ...]:
        return (np.full((108, 192), 492, np.uint16), *[np.full((108, 96), 512, np.uint16)] * 2)

    path = only(mastered(size, frames=3, picture=grey))
    with av.open(str(path)) as container:
        frame = next(container.decode(video=0))
        luma = np.frombuffer(frame.planes[0], np.uint16).reshape(frame.height, -1)

    signal = exact_transform(Grade(named("phone-log-1")))(np.full((1, 3), (492 - 64) / 876))
    meant = to_codes(signal, 10, "bt709", "narrow")[0, 0]
    assert abs(float(luma[:, : frame.width].mean()) - meant) < 1.0
    assert meant == pytest.approx(399.6, abs=1.5)  # ACES 2 puts 18 % grey at 10 cd/m²


@pytest.mark.slow
def test_a_real_clip_of_each_kind_goes_through(real_clips: Path, tmp_path: Path) -> None:
    """HLG turned upright, PQ at a variable rate, SDR at 60 fps: verified, with counts told."""
    scan(real_clips, tmp_path / "real.shoot")

    options = MasterOptions(("web-720",), tmp_path / "out", quality="draft")
    result = master(tmp_path / "real.shoot", options)

    assert result.undone == ()
    assert {e.clip: (e.size, e.frames, e.repeated, e.dropped) for e in result.made} == {
        "hlg-portrait-edit-list": ((720, 1280), 64, 0, 13),
        "pq-variable-rate": ((1280, 720), 25, 1, 4),
        "sdr-portrait-uhd-60": ((720, 1280), 7, 0, 11),
    }


@pytest.mark.slow
@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGKILL], ids=["ctrl-c", "kill -9"])
def test_a_stopped_run_goes_on(synth: ModuleType, tmp_path: Path, how: signal.Signals) -> None:
    """Stopped in the second clip: the first master stays, nothing half-made has a final name."""
    card = tmp_path / "card"
    card.mkdir()
    for name, frames in (("A001", 5), ("A002", 200)):
        synth.write_clip(
            card / f"{name}.mov", **synth.PRORES, frames=frames, tags=synth.PHONE_LOG,
            size=(640, 360),
        )  # fmt: skip
    scan(card, tmp_path / "card.shoot", {"*": "phone-log-1"})
    command = [sys.executable, "-m", "evenhand", "master", "--spec", "web-720", "--to", "out"]

    def hearing_ctrl_c() -> None:  # a test run in the background is started deaf to it
        signal.signal(signal.SIGINT, signal.default_int_handler)

    run = subprocess.Popen(
        command, cwd=tmp_path, stderr=subprocess.PIPE, text=True, preexec_fn=hearing_ctrl_c
    )
    deadline = time.monotonic() + 120
    while not list((tmp_path / "out").glob(".A002.web-720.mp4.*.part")):
        assert run.poll() is None, run.stderr.read() if run.stderr else ""
        assert time.monotonic() < deadline
        time.sleep(0.02)
    os.kill(run.pid, how)
    _, said = run.communicate(timeout=60)
    left = sorted(p.name for p in (tmp_path / "out").iterdir() if not p.name.startswith("."))
    first = (tmp_path / "out" / "A001.web-720.mp4").stat().st_mtime_ns
    again = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False)

    assert left == ["A001.web-720.mp4"]
    if how == signal.SIGINT:
        assert run.returncode == 1
        assert "stopped. Nothing half-made is left" in said
        assert not list((tmp_path / "out").glob(".A002*"))
    assert again.returncode == 0, again.stderr
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == [
        "A001.web-720.mp4",
        "A002.web-720.mp4",
    ]
    assert (tmp_path / "out" / "A001.web-720.mp4").stat().st_mtime_ns == first
