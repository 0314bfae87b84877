"""A shoot of one made clip, and the quickest spec that takes it as it is."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import av
import pytest

from evenhand.jobs.identify import scan
from evenhand.jobs.master import MasterOptions, MasterResult, master

SPEC = """
name = "{name}"
title = "Quick, for tests"
{size}
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
crf = "14"
x265-params = "open-gop=0:info=0:log-level=error:pools=1:frame-threads=1"
"""


@pytest.fixture
def mastered(synth: ModuleType, tmp_path: Path) -> Callable[..., MasterResult]:
    """Make a clip by a recipe, scan it as phone log and master it, by a spec of that frame size."""

    def make(size: tuple[int, int] | None = None, **recipe: Any) -> MasterResult:
        card = tmp_path / "card"
        card.mkdir(exist_ok=True)
        synth.write_clip(card / "A001.mov", **{**synth.PRORES, "tags": synth.PHONE_LOG, **recipe})
        spec = tmp_path / "quick.toml"
        lines = f"width = {size[0]}\nheight = {size[1]}" if size else ""
        spec.write_text(SPEC.format(name="quick", size=lines), "utf-8")
        scan(card, tmp_path / "card.shoot", {"A001": "phone-log-1"})
        options = MasterOptions((str(spec),), tmp_path / "out")
        return master(tmp_path / "card.shoot", options)

    return make


@pytest.fixture
def numbers(synth: ModuleType) -> Callable[[Path], list[int]]:
    """The numbers that are burnt into the frames of a file, in the order they are shown."""

    def read(path: Path) -> list[int]:
        with av.open(str(path)) as container:
            return [
                synth.read_number(frame.to_ndarray(format="gray"), 8)
                for frame in container.decode(video=0)
            ]

    return read
