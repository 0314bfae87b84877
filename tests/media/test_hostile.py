"""Clips with bytes changed at random: a verdict or a ClipError, never anything else."""

from __future__ import annotations

import random
from fractions import Fraction
from pathlib import Path
from types import ModuleType

import pytest

from evenhand.errors import ClipError
from evenhand.media.decode import frame_at, frames
from evenhand.media.probe import count_decoded, probe

pytestmark = [pytest.mark.media, pytest.mark.slow]
WORDS = (b"\xff\xff\xff\xff", b"\0\0\0\0", b"\x7f\xff\xff\xff", b"\x80\0\0\0")


@pytest.mark.parametrize("kind", ["H264", "HEVC", "PRORES"])
def test_changed_bytes(synth: ModuleType, tmp_path: Path, kind: str) -> None:
    """Eighty damaged copies of a clip, most of them in the index."""
    whole = synth.write_clip(
        tmp_path / "whole.mov", **getattr(synth, kind), frames=10, audio=1, timecode="01:00:00:00"
    ).read_bytes()
    draw = random.Random(kind)
    read = 0
    for _ in range(80):
        path = tmp_path / "damaged.mov"
        path.write_bytes(damaged(whole, draw))
        try:
            facts = probe(path)
            list(frames(path))
            frame_at(path, Fraction(1, 5), facts)
            count_decoded(path)
            read += 1
        except ClipError:
            continue
    assert read > 8


def damaged(whole: bytes, draw: random.Random) -> bytearray:
    """A copy with one to forty bytes or words replaced."""
    data = bytearray(whole)
    pictures = data.index(b"mdat")
    for _ in range(draw.choice((1, 1, 2, 8, 40))):
        inside = (0, pictures) if draw.random() < 0.7 else (pictures, len(data) - 4)
        at = draw.randrange(*inside)
        if draw.random() < 0.5:
            data[at] = draw.randrange(256)
        else:
            data[at : at + 4] = draw.choice(WORDS)
    return data
