"""Clips that show nothing, or two things: levelling answers calmly and moves nothing by them."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
import simulated_camera as camera

from evenhand.colourmath.encodings import named
from evenhand.measure.decisions import LevelDecision
from evenhand.measure.levelling import level_place
from evenhand.measure.matching import match_clips
from evenhand.measure.places import ClipView, PictureNumbers, find_links, group
from evenhand.measure.views import Features
from evenhand.reasons import because

SIZE = (320, 180)
Seen = Callable[..., Features]
Scene = Callable[[int], np.ndarray]
NUMBERS = PictureNumbers(clipped=0.0, crushed=0.0, middle=0.1, seconds=5.0)
BLANK = ("black", "white", "noise", "grey")


def blank(kind: str, rng: np.random.Generator) -> np.ndarray:
    """A picture of nothing."""
    shape = (SIZE[1], SIZE[0], 3)
    if kind == "noise":
        return rng.uniform(0, 1, shape).astype(np.float32)
    return np.full(shape, {"black": 0.0, "white": 8.0, "grey": 0.18}[kind], np.float32)


def clip(name: str, order: int, frames: list[Features]) -> ClipView:
    """A clip of these frames."""
    return ClipView(name, 60.0 * order, order, named("phone-log-1"), tuple(frames), NUMBERS)


def decided(clips: list[ClipView]) -> dict[str, LevelDecision]:
    """All decisions by clip."""
    links, by_id = find_links(clips), {c.id: c for c in clips}
    places = group(clips, links)
    return {d.clip: d for s in places for d in level_place(s, by_id, links)}


@pytest.fixture(scope="module")
def pair(scene: Scene, seen: Seen) -> list[ClipView]:
    """Two clips of one place, 0.6 stop apart."""
    rng = np.random.default_rng(0)
    view = camera.View(share=0.8).of(scene(0), SIZE, rng)
    faults = (camera.Fault(), camera.Fault(0.6, 12))
    frames = [[seen(camera.record(view, f, rng)) for _ in range(2)] for f in faults]
    return [clip("a", 0, frames[0]), clip("b", 1, frames[1])]


def test_one_clip_alone_stays_as_shot(pair: list[ClipView]) -> None:
    """Nothing to match it to, nothing known: it is its own reference."""
    decision = decided(pair[:1])["a"]

    assert (decision.status, decision.stops, decision.white) == ("reference", 0.0, None)
    assert decision.why == (because("level.alone"),)


@pytest.mark.parametrize("kind", BLANK)
def test_a_clip_of_nothing_is_moved_by_nobody_and_moves_nobody(
    kind: str, pair: list[ClipView], seen: Seen
) -> None:
    """Beside two clips that match, it stays, and they are levelled as without it."""
    rng = np.random.default_rng(1)
    frames = [seen(camera.record(blank(kind, rng), camera.Fault(), rng)) for _ in range(2)]
    alone = decided(pair)
    decisions = decided([*pair, clip("nothing", 2, frames)])

    assert (decisions["nothing"].stops, decisions["nothing"].white) == (0.0, None)
    assert decisions["nothing"].status in ("reference", "unchanged")
    assert {k: (d.stops, d.white) for k, d in decisions.items() if k != "nothing"} == {
        k: (d.stops, d.white) for k, d in alone.items()
    }


@pytest.mark.parametrize("kind", BLANK)
def test_two_clips_of_nothing_do_not_match(kind: str, seen: Seen) -> None:
    """They look alike, and have no view in common."""
    rng = np.random.default_rng(2)
    clips = [
        clip(f"{kind} {n}", n, [seen(camera.record(blank(kind, rng), camera.Fault(s), rng))])
        for n, s in enumerate((0.0, 0.4))
    ]

    assert find_links(clips) == ()
    assert all(d.stops == 0.0 and d.white is None for d in decided(clips).values())


def test_a_clip_without_a_frame_says_so(pair: list[ClipView]) -> None:
    """Nothing could be decoded."""
    found = match_clips(pair[0].features, ())

    assert not found.accepted
    assert found.why == (because("match.no-frame"),)
    assert decided([*pair, clip("empty", 2, [])])["empty"].stops == 0.0


def test_monochrome_clips_are_matched_in_exposure(scene: Scene, seen: Seen) -> None:
    """A picture without colour has light all the same; no white is made up."""
    rng = np.random.default_rng(3)
    grey = np.repeat(camera.View().of(scene(1), SIZE, rng)[..., 1:2], 3, axis=2)
    frames = [seen(camera.record(grey, camera.Fault(s), rng)) for s in (0.0, -0.7)]
    decisions = decided([clip("a", 0, frames[:1]), clip("b", 1, frames[1:])])
    matched = next(d for d in decisions.values() if d.status == "matched")

    assert abs(matched.stops) == pytest.approx(0.7, abs=0.02)
    assert matched.white is None
    assert matched.difference is not None
    assert abs(matched.difference.mired) < 1.0


def test_a_change_of_scene_in_the_middle_is_matched_by_what_fits(
    pair: list[ClipView], scene: Scene, seen: Seen
) -> None:
    """Half of the clip is the place, half is another: only the half that is the place counts."""
    rng = np.random.default_rng(4)
    other = camera.View(share=0.8).of(scene(7), SIZE, rng)
    away = [seen(camera.record(other, camera.Fault(-1.5, 60), rng)) for _ in range(2)]
    torn = clip("torn", 2, [*pair[1].features, *away])
    found = match_clips(pair[0].features, torn.features)

    assert found.accepted
    assert found.stops == pytest.approx(0.6, abs=0.02)
    assert found.mired == pytest.approx(12, abs=2.0)
    decisions = decided([pair[0], torn])
    assert abs(next(iter(d for d in decisions.values() if d.status == "matched")).stops) < 0.65
