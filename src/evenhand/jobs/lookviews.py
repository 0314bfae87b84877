"""The pictures that looks are shown on, and looks put on them.

A view is a picture as a BT.709 display shows it without a look. Looks for that display are read
from their tables, as players read them; others go through the whole grade of the view.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Final, cast

import cv2
import msgspec
import numpy as np
from numpy.typing import NDArray

from evenhand.colourmath.encodings import named
from evenhand.grade.document import Grade, LookUse
from evenhand.grade.exact import exact_transform
from evenhand.grade.output_transforms import output_encoding
from evenhand.jobs.looks import FoundLook
from evenhand.jobs.picture import Timed, clip_frame
from evenhand.kernels import tetrahedra
from evenhand.measure.looks import cards
from evenhand.measure.looks.health import SIZE, Health, at_strengths, health_of_parts, parts_of
from evenhand.measure.looks.parts import AnyLook, Part, shows
from evenhand.measure.looks.traces import Traces, traces
from first_bread import pictures

Signal = NDArray[np.floating]
LONGEST: Final = 480


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """`shown` (h, w, 3) is display signal. `shot` and `grade` say where it came from, if it did.

    `is_made` pictures are charts: nobody has filmed them.
    """

    name: str
    alt: str
    shown: Signal
    shot: Signal | None = None
    grade: Grade | None = None
    is_made: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class ReadyLook:
    """A look with its tables and its health at some strengths, rising."""

    found: FoundLook
    parts: tuple[Part, ...]
    health: Health
    traces: tuple[Traces, ...]

    def on(self, view: View, strength: float) -> Signal:
        """Display signal of a view under the look; KeyError for a strength not made ready."""
        part = {each.strength: each for each in self.parts}[strength]
        look = self.found.look
        if view.shot is not None and view.grade is not None and not shows(cast(AnyLook, look)):
            use = LookUse(self.found.name, strength, self.found.digest)
            grade = msgspec.structs.replace(view.grade, look=use)
            return exact_transform(grade, lambda _: look)(view.shot)
        read = tetrahedra.read(part.table, view.shown.reshape(-1, 3).astype(np.float64))
        return np.clip(read, 0.0, 1.0).reshape(view.shown.shape)


def ready(found: FoundLook, strengths: tuple[float, ...], size: int = SIZE) -> ReadyLook:
    """Measure a look once for all that is shown of it. UsageError where its space has no name."""
    look = cast(AnyLook, found.look)  # every kind that a file can hold has a name
    asked = set(strengths)
    # Whether it is black and white, and so what it is asked, shows at full strength alone.
    parts = parts_of(look, size, sorted(asked | {1.0}))
    health = at_strengths(health_of_parts(look, parts), asked)
    kept = tuple(part for part in parts if part.strength in asked)
    return ReadyLook(found, kept, health, traces(kept))


def demo_views() -> tuple[View, ...]:
    """Four scenes of the demo, in scene light."""
    encoding = msgspec.structs.replace(named(pictures.ENCODING), range="full")
    grade = Grade(encoding)
    return tuple(
        _view(view.title, view.alt, pictures.signal(pictures.jpeg(view.name)), grade)
        for view in pictures.VIEWS
    )


def made_views() -> tuple[View, ...]:
    """Ramps, measured skins and the 24-patch chart."""
    return (
        View("ramps", "ramps of grey, of hues and of a sky", cards.ramps(), is_made=True),
        View("skins", "eleven measured skins in three lights", cards.skins(), is_made=True),
        View("chart", "the 24-patch chart", cards.chart(), is_made=True),
    )


def clip_view(folder: Path, clip: str, at: Timed, longest: int = LONGEST) -> View:
    """A frame of a clip, levelled and adjusted but without its look.

    A clip whose output transform is for another display is shown in `aces2-sdr`. Raises what
    `still` does.
    """
    frame = clip_frame(folder, clip, at)
    output_transform = frame.grade.output_transform
    if output_encoding(output_transform).name != "bt709":
        output_transform = "aces2-sdr"
    grade = msgspec.structs.replace(frame.grade, look=None, output_transform=output_transform)
    height, width = frame.steady.shape[:2]
    share = min(1.0, longest / max(height, width))
    size = (max(1, round(width * share)), max(1, round(height * share)))
    small = cv2.resize(np.ascontiguousarray(frame.steady), size, interpolation=cv2.INTER_AREA)
    seconds = f"{float(frame.seconds):.2f}".rstrip("0").rstrip(".")
    return _view(frame.clip, f"{frame.clip} at {seconds} s", np.asarray(small), grade)


def _view(name: str, alt: str, shot: Signal, grade: Grade) -> View:
    return View(name, alt, exact_transform(grade)(shot), shot, grade)
