"""A clip that was right already stays as it is, whatever it shows."""

from __future__ import annotations

from collections.abc import Callable
from itertools import combinations

import good_pictures
import made_cases
import numpy as np
import pytest
import simulated_camera as camera

from evenhand.colourmath.encodings import named
from evenhand.measure.chart import find_chart
from evenhand.measure.decisions import LevelDecision
from evenhand.measure.levelling import level_place
from evenhand.measure.matching import match
from evenhand.measure.places import ClipView, PictureNumbers, find_links, group
from evenhand.measure.views import Features

SIZE = (640, 360)
PICTURES = tuple(good_pictures.PAINTED)
FRAMES = 2
Seen = Callable[..., Features]


def photographs() -> dict[str, np.ndarray]:
    """Good photographs, where there are some: the one with a chart in it is left out."""
    beside = {n: p for n, p in camera.photographs().items() if n != "carrots"}
    return beside | good_pictures.package_photographs()


def clip(name: str, order: int, frames: list[Features]) -> ClipView:
    """A clip of these frames."""
    numbers = PictureNumbers(clipped=0.0, crushed=0.0, middle=0.1, seconds=5.0)
    return ClipView(name, 60.0 * order, order, named("phone-log-1"), tuple(frames), numbers)


def recorded(picture: np.ndarray, view: camera.View, rng: np.random.Generator) -> Features:
    """One frame of a good camera: no fault, noise alone."""
    return made_cases.seen(camera.record(view.of(picture, SIZE, rng), camera.Fault(), rng))


def levelled(clips: list[ClipView]) -> list[LevelDecision]:
    """All decisions on a card."""
    links = find_links(clips)
    by_id = {c.id: c for c in clips}
    return [d for s in group(clips, links) for d in level_place(s, by_id, links)]


def is_harmed(decision: LevelDecision) -> bool:
    """Moved by over 0.1 stop or 5 mired, and said to be surer than 50 %."""
    warm = 0.0 if decision.white is None else abs(1e6 / decision.white.kelvin - camera.D65_MIRED)
    return (abs(decision.stops) > 0.1 or warm > 5.0) and decision.confidence > 0.5


@pytest.mark.slow
def test_good_clips_of_different_places_are_not_moved() -> None:
    """Eight pictures by eight hands on one card: nothing is applied, and nobody is matched."""
    rng = np.random.default_rng(0)
    pictures = {n: good_pictures.painted(n) for n in PICTURES} | photographs()
    clips = [
        clip(name, n, [recorded(picture, camera.View(share=0.9), rng)])
        for n, (name, picture) in enumerate(pictures.items())
    ]
    decisions = levelled(clips)

    assert len(decisions) == len(pictures)
    assert [d.clip for d in decisions if d.stops != 0.0 or d.white is not None] == []
    assert [d.clip for d in decisions if d.status == "matched"] == []


@pytest.mark.slow
def test_second_takes_of_good_clips_are_not_moved() -> None:
    """Another framing by the same camera in the same light: matched, and left as it is."""
    harmed, moved, matched = [], [], 0
    rng = np.random.default_rng(3)
    for name, picture in ({n: good_pictures.painted(n) for n in PICTURES} | photographs()).items():
        takes = camera.views_of("reframe", rng)
        clips = [
            clip(f"{name} {n}", n, [recorded(picture, view, rng) for _ in range(FRAMES)])
            for n, view in enumerate(takes)
        ]
        for decision in levelled(clips):
            matched += decision.status == "matched"
            harmed += [name] if is_harmed(decision) else []
            moved += [name] if abs(decision.stops) > 0.1 else []

    assert matched >= 6
    assert harmed == []
    assert moved == []


@pytest.mark.slow
@pytest.mark.parametrize("name", PICTURES)
def test_no_good_picture_is_taken_for_a_chart(name: str) -> None:
    """Swatches of colour side by side are not a chart."""
    rng = np.random.default_rng(1)
    view = camera.View(share=0.95).of(good_pictures.painted(name), (1280, 720), rng)
    frame = camera.record(view, camera.Fault(), rng)
    reading = find_chart(
        frame.signal, lambda s: camera.phone_log_light(s.astype(np.float64)), frame.clip_level
    )

    assert reading is None or not reading.accepted


@pytest.mark.slow
def test_views_of_different_places_are_never_taken_for_one(
    scene: Callable[[int], np.ndarray],
) -> None:
    """24 views without a common part, with faults: none of 276 pairs (the bench tries 1540)."""
    rng = np.random.default_rng(8)
    pictures = [good_pictures.painted(n) for n in PICTURES] + [scene(n) for n in range(4)]
    views = []
    for picture in pictures:
        for x in (0.25, 0.75):
            half = camera.View(x=x, share=0.5).of(picture, SIZE, rng)
            views.append(made_cases.seen(camera.record(half, camera.random_fault(rng), rng)))

    assert not any(match(a, b).accepted for a, b in combinations(views, 2))


def test_the_harm_test_can_fail() -> None:
    """A decision that moves a good clip by 20 mired, surely, is harm."""
    moved = LevelDecision(clip="a", place="s", reference="b", status="matched", why="", stops=0.2)

    assert not is_harmed(moved)
    assert is_harmed(made_cases.surely(moved))
