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


@pytest.fixture
def mastered(
    synth: ModuleType, tmp_path: Path, quick_spec: Callable[..., str]
) -> Callable[..., MasterResult]:
    """Make a clip by a recipe, scan it as phone log and master it, by a spec of that frame size."""

    def make(size: tuple[int, int] | None = None, **recipe: Any) -> MasterResult:
        card = tmp_path / "card"
        card.mkdir(exist_ok=True)
        synth.write_clip(card / "A001.mov", **{**synth.PRORES, "tags": synth.PHONE_LOG, **recipe})
        spec = tmp_path / "quick.toml"
        spec.write_text(quick_spec("quick", size), "utf-8")
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
