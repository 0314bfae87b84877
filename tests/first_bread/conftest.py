"""Two tiny cards, with and without faults, made once."""

from __future__ import annotations

import json
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
import numpy.typing as npt
import pytest

from evenhand.colourmath import ycbcr
from evenhand.colourmath.encodings import named, transfer_of
from evenhand.colourmath.primaries import rgb_to_rgb
from first_bread.card import make_card, truth_path

SIZE = (192, 108)
FRAMES = 6


@dataclass(frozen=True, slots=True)
class Card:
    """A card on disk and its truth."""

    folder: Path
    clips: dict[str, dict[str, Any]]

    def truth(self, short: str) -> dict[str, Any]:
        """The truth of the clip whose name starts with `short`."""
        return next(clip for file, clip in self.clips.items() if file.startswith(short))

    def frames(self, short: str) -> list[av.VideoFrame]:
        """All decoded pictures of a clip."""
        with av.open(str(self.folder / self.truth(short)["file"])) as source:
            return list(source.decode(source.streams.video[0]))

    def light(self, short: str, number: int) -> npt.NDArray[np.float64]:
        """Linear BT.2020 of one picture, at a quarter of the chroma's resolution and no finer."""
        truth = self.truth(short)
        frame = self.frames(short)[number]
        encoding = named(truth["encoding"])
        bits = 10 if "10" in frame.format.name else 8
        kind = np.uint16 if bits == 10 else np.uint8
        planes = []
        for plane in frame.planes:
            codes = np.frombuffer(memoryview(plane), kind).reshape(plane.height, -1)
            codes = codes[:, : plane.width].astype(np.float64)
            planes.append(codes.repeat(108 // plane.height, 0).repeat(192 // plane.width, 1))
        signal = ycbcr.to_rgb(np.stack(planes, -1), bits, encoding.matrix, "narrow")
        light = transfer_of(encoding).to_light(signal)
        wide = light @ rgb_to_rgb(encoding.primaries, "bt2020").T
        return wide.reshape(27, 4, 48, 4, 3).mean((1, 3))


def read_card(folder: Path) -> Card:
    """The card in a folder."""
    truth = json.loads(truth_path(folder).read_text())
    return Card(folder, {clip["file"]: clip for clip in truth["clips"]})


@pytest.fixture(scope="session")
def card(tmp_path_factory: pytest.TempPathFactory) -> Card:
    """The whole card with its faults, tiny."""
    folder = tmp_path_factory.mktemp("first_bread") / "card"
    make_card(folder, SIZE, frames=FRAMES, workers=1)
    return read_card(folder)


@pytest.fixture(scope="session")
def clean_card(tmp_path_factory: pytest.TempPathFactory) -> Card:
    """The same card without faults."""
    folder = tmp_path_factory.mktemp("first_bread_clean") / "card"
    make_card(folder, SIZE, frames=FRAMES, workers=1, clean=True)
    return read_card(folder)


@pytest.fixture(scope="session")
def tick() -> Fraction:
    """One tick of the clips' clock in seconds."""
    return Fraction(1, 600)
