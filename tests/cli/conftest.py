"""A small card in a folder of its own, and the command line called in this process."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType

import pytest

from evenhand.cli.main import status

# A spec as a person would write one: any size, the quickest encoder settings.
TINY = """
name = "tiny"
title = "Tiny, for tests"
rate = "25"
container = "mp4"
codec = "hevc"
codec_tag = "hvc1"
profile = "Main 10"
pixel_format = "yuv420p10le"
encoding = "bt709"
default_quality = "quick"
[sound]
codec = "aac"
[quality.quick]
psnr_luma = 25.0
psnr_chroma = 25.0
bits_per_pixel = 2.0
[quality.quick.encoder]
preset = "ultrafast"
crf = "18"
x265-params = "open-gop=0:info=0:log-level=error:pools=1:frame-threads=1"
"""


@dataclass(frozen=True)
class Said:
    """What a call of the command line came to."""

    status: int
    out: str
    err: str

    @property
    def lines(self) -> list[str]:
        return [line for line in self.err.splitlines() if line.startswith("evenhand:")]


Call = Callable[..., Said]


@pytest.fixture
def call(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Call:
    """Call a verb in a folder of its own; no call may show a traceback."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "tiny.toml").write_text(TINY, "utf-8")

    def run(*arguments: object) -> Said:
        code = status([str(a) for a in arguments])
        captured = capsys.readouterr()
        assert "Traceback" not in captured.err
        return Said(code, captured.out, captured.err)

    return run


@pytest.fixture
def card(tmp_path: Path) -> Path:
    """An empty card."""
    place = tmp_path / "card"
    place.mkdir()
    return place


@pytest.fixture
def log_clip(synth: ModuleType, card: Path) -> Path:
    """One phone-log clip of twelve frames, with a track of sound."""
    path: Path = synth.write_clip(
        card / "A001.mov", **synth.PRORES, frames=12, tags=synth.PHONE_LOG, audio=1
    )
    return path
