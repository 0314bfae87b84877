"""A white from one clip alone is proposed behind gates, never for pictures that are meant so."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import cv2
import numpy as np
import pytest
import simulated_camera as camera

from evenhand.colourmath.encodings import named
from evenhand.measure import ratios
from evenhand.measure.decisions import Place
from evenhand.measure.levelling import level_place
from evenhand.measure.places import ClipView, PictureNumbers
from evenhand.measure.views import Features
from evenhand.measure.whites import propose_white

SIZE = (640, 360)
Seen = Callable[..., Features]


@pytest.fixture(scope="module")
def greyish() -> np.ndarray:
    """A scene of many surfaces, most of them close to neutral."""
    scene = camera.scene(5, SIZE)
    grey = cv2.transform(scene, camera.BT2020[1:2])[..., None]
    return np.asarray(grey + 0.3 * (scene - grey), np.float32)


def frames(picture: np.ndarray, fault: camera.Fault, seen: Seen, count: int = 5) -> list[Features]:
    """The analysis frames of a clip."""
    rng = np.random.default_rng(1)
    return [seen(camera.record(picture, fault, rng)) for _ in range(count)]


def test_a_clear_fault_gets_a_proposal_of_a_part(greyish: np.ndarray, seen: Seen) -> None:
    """Two statistics agree: four fifths of 45 mired, 40 at most, with an honest error."""
    found = propose_white(frames(greyish, camera.Fault(0, 45, 0.002), seen))

    assert found is not None
    moved = 1e6 / found.white.kelvin - camera.D65_MIRED
    assert 20 <= moved <= 40.5
    assert found.mired_worst >= 40
    [why] = found.why
    assert why.code == "proposal.greys-agree"
    assert why.facts["mired"] == pytest.approx(45, abs=10)


def test_it_is_never_applied(greyish: np.ndarray, seen: Seen) -> None:
    """A reference with a proposal keeps its exposure and white as shot."""
    view = ClipView(
        "a", None, 0, named("phone-log-1"),
        tuple(frames(greyish, camera.Fault(0, 45, 0.002), seen)), PictureNumbers(0, 0, 0.1, 5.0),
    )  # fmt: skip
    decision = level_place(Place("s", ("a",), "a", (), ()), {"a": view}, [])[0]

    assert decision.proposal is not None
    assert (decision.status, decision.stops, decision.white) == ("reference", 0.0, None)


def test_nothing_is_proposed_for_a_small_fault(greyish: np.ndarray, seen: Seen) -> None:
    """Under 25 mired such statistics cannot tell a fault from a scene."""
    assert propose_white(frames(greyish, camera.Fault(0, 8, 0.0), seen)) is None


@pytest.mark.parametrize(
    "change",
    [
        lambda p: p * 0.02,
        lambda p: p * np.float32([1.6, 0.8, 0.12]),
        lambda p: p * np.float32([0.4, 1.0, 0.35]),
        lambda p: np.zeros_like(p),
    ],
    ids=["night", "sunset", "forest", "black"],
)
def test_pictures_that_are_meant_so_are_kept(
    change: Callable[[np.ndarray], np.ndarray], greyish: np.ndarray, seen: Seen
) -> None:
    """Night, lamp light, and one hue all over get no proposal."""
    assert propose_white(frames(change(greyish), camera.Fault(), seen)) is None


def test_frames_that_disagree_get_none(greyish: np.ndarray, seen: Seen) -> None:
    """Two of five frames that say nothing are too many."""
    good = frames(greyish, camera.Fault(0, 45, 0.002), seen, 3)
    dark = [replace(f, valid=np.zeros_like(f.valid)) for f in good[:2]]

    assert propose_white(good + dark) is None
    assert propose_white([]) is None


def test_photographs_as_delivered_get_a_proposal_seldom(seen: Seen) -> None:
    """At most one of the real photographs; and if so, not a large one."""
    photographs = camera.photographs()
    if not photographs:
        pytest.skip(f"no photographs in {camera.PHOTOS}")
    rng = np.random.default_rng(0)
    found = [
        propose_white(frames(camera.View().of(p, SIZE, rng), camera.Fault(), seen, 2))
        for p in photographs.values()
    ]
    made = [p for p in found if p is not None]
    assert len(made) <= 1
    for p in made:
        assert abs(1e6 / p.white.kelvin - 1e6 / ratios.white_of(np.zeros(3)).kelvin) <= 40.5
