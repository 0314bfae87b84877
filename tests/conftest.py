"""Fixtures for all tests."""

from __future__ import annotations

import importlib.util
import sys
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import pytest


@pytest.fixture(scope="session")
def synth() -> ModuleType:
    """The module that makes small clips: tests/media/synth.py."""
    name = "evenhand_tests_synth"
    if name not in sys.modules:
        place = Path(__file__).parent / "media" / "synth.py"
        spec = importlib.util.spec_from_file_location(name, place)
        assert spec is not None
        assert spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        sys.modules[name] = module  # before it runs: its dataclasses look themselves up
        spec.loader.exec_module(module)
    return sys.modules[name]


@pytest.fixture(scope="session")
def real_clips() -> Path:
    """The folder of real phone clips beside the repository; skips where it is absent."""
    place = Path(__file__).parents[2] / "shared" / "clips"
    if not place.is_dir():
        pytest.skip("the real clips are not on this machine (../shared/clips)")
    return place


QUICK = """
name = "{name}"
title = "Quick, for tests"
rate = "25"
container = "mp4"
codec = "hevc"
codec_tag = "hvc1"
profile = "Main 10"
pixel_format = "yuv420p10le"
encoding = "bt709"
default_quality = "quick"
{size}
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


@pytest.fixture(scope="session")
def quick_spec() -> Callable[..., str]:
    """A master spec as a person would write one: any size or one, the quickest settings."""

    def text(name: str, size: tuple[int, int] | None = None) -> str:
        frame = f"width = {size[0]}\nheight = {size[1]}" if size else ""
        return QUICK.format(name=name, size=frame)

    return text
