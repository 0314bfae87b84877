"""Grouping clips into places, and choosing whom the others follow."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import pytest
import simulated_camera as camera

from evenhand.colourmath.encodings import named
from evenhand.measure.decisions import Link, Match, Place
from evenhand.measure.places import (
    ClipView,
    Named,
    PictureNumbers,
    find_links,
    group,
    picture_numbers,
)
from evenhand.measure.reference import BY_HAND
from evenhand.measure.views import AnalysisFrame, Features
from evenhand.reasons import because

SIZE = (640, 360)
Seen = Callable[..., Features]
Scene = Callable[[int], np.ndarray]
GOOD = PictureNumbers(clipped=0.0, crushed=0.0, middle=0.12, seconds=10.0)
MINUTE = 60.0


def bare(name: str, order: int, created: float | None = None) -> ClipView:
    """A clip without pictures, for what does not look at them."""
    return ClipView(name, created, order, named("phone-log-1"), (), GOOD)


def accepted(a: str, b: str) -> Link:
    """A match that found no difference."""
    return Link(a, b, Match(True, (), inliers=100, stops_error=0.004, mired_error=0.4))


def parts(places: Sequence[Place]) -> list[tuple[str, ...]]:
    """The clips of each place."""
    return [s.clips for s in places]


@pytest.fixture(scope="module")
def card(scene: Scene, seen: Seen) -> list[ClipView]:
    """Two places: three clips and one that shares no view, then two clips under another light."""
    rng = np.random.default_rng(0)
    warm = np.array([1.3, 1.0, 0.5], np.float32)  # the light of the second place
    left, right = 0.3, 0.85
    shots = [
        ("a", scene(0), camera.View(share=0.8), camera.Fault(0.2, 5)),
        ("b", scene(0), camera.View(share=0.5), camera.Fault(-0.4, -8)),
        ("c", scene(0), camera.View(x=left, share=0.45), camera.Fault(0.1, 12)),
        ("d", scene(20), camera.View(x=right, share=0.4), camera.Fault(0.3, 3)),
        ("e", scene(1) * warm, camera.View(share=0.8), camera.Fault(0.0, 0)),
        ("f", scene(1) * warm, camera.View(share=0.6), camera.Fault(-0.3, 9)),
    ]
    minutes = [0, 3, 6, 9, 120, 124]
    clips = []
    for order, (name, picture, view, fault) in enumerate(shots):
        recording = camera.record(view.of(picture, SIZE, rng), fault, rng)
        clips.append(
            ClipView(
                name,
                minutes[order] * MINUTE,
                order,
                named("phone-log-1"),
                (seen(recording),),
                GOOD,
            )
        )
    return clips


@pytest.fixture(scope="module")
def links(card: list[ClipView]) -> tuple[Link, ...]:
    """What comparing the card's clips gave."""
    return find_links(card)


def test_shared_views_make_places(card: list[ClipView], links: tuple[Link, ...]) -> None:
    """Clips that see the same join; one that sees nothing of it joins by time and colour."""
    places = group(card, links)

    assert parts(places) == [("a", "b", "c", "d"), ("e", "f")]
    how = {m.clip: m.how for s in places for m in s.members}
    assert how == {**dict.fromkeys("abcef", "view"), "d": "neighbour"}


def test_times_may_be_missing(card: list[ClipView], links: tuple[Link, ...]) -> None:
    """Without times the colours of the light decide."""
    places = group([replace(c, created=None) for c in card], links)

    assert parts(places) == [("a", "b", "c", "d"), ("e", "f")]


def test_a_long_pause_keeps_a_clip_without_shared_view_apart(
    card: list[ClipView], links: tuple[Link, ...]
) -> None:
    """A clip made an hour from either place stands alone, however its colours look."""
    moved = [replace(c, created=60 * MINUTE) if c.id == "d" else c for c in card]
    places = group(moved, links)

    assert ("d",) in parts(places)
    [lone] = [s for s in places if s.clips == ("d",)]
    assert lone.members[0].how == "alone"
    assert lone.reference == "d"


def test_the_same_view_hours_later_is_another_place() -> None:
    """One place under the light of another hour is not matched to the earlier one."""
    clips = [bare("a", 0, 0.0), bare("b", 1, 300.0), bare("c", 2, 5 * 3600.0)]
    places = group(clips, [accepted("a", "b"), accepted("b", "c")])

    assert parts(places) == [("a", "b"), ("c",)]


def test_a_person_s_places_are_taken_as_they_are(
    card: list[ClipView], links: tuple[Link, ...]
) -> None:
    """Named clips leave the automatic grouping, whatever they show."""
    places = group(card, links, Named(places={"door": ["c", "e"]}))

    named_ones = [s for s in places if s.name == "door"]
    assert parts(named_ones) == [("c", "e")]
    assert all(m.how == "named" for m in named_ones[0].members)
    assert sorted(c for s in places for c in s.clips) == list("abcdef")


def test_a_chosen_reference_stands(card: list[ClipView], links: tuple[Link, ...]) -> None:
    """A person's reference is taken, and the place says so."""
    first = group(card, links, Named(references=["b"]))[0]

    assert first.reference == "b"
    assert first.why_reference == BY_HAND


@pytest.mark.parametrize(
    "worse",
    [
        {"numbers": replace(GOOD, clipped=0.05)},
        {"numbers": replace(GOOD, crushed=0.3)},
        {"numbers": replace(GOOD, middle=0.01)},
        {"encoding": named("bt709")},
    ],
    ids=["clipped", "noisy", "dark", "display"],
)
def test_the_reference_is_the_better_picture(worse: dict[str, object]) -> None:
    """Clipped, noisy, dark and display-toned clips are passed over."""
    clips = [replace(bare("a", 0), **worse), bare("b", 1)]
    [place] = group(clips, [accepted("a", "b")])

    assert place.reference == "b"


def test_the_reference_sees_most_of_the_others() -> None:
    """The clip that connects the others is preferred to the first one."""
    clips = [bare(name, n) for n, name in enumerate("abc")]
    [place] = group(clips, [accepted("a", "b"), accepted("b", "c")])

    assert place.reference == "b"


def test_the_reference_is_the_middle_of_the_place() -> None:
    """Of equal clips, the one that moves the others least is taken."""
    brighter = Match(True, (), gains=(1.0, 1.0, 1.0), inliers=90, stops_error=0.01, mired_error=1)
    clips = [bare(name, n) for n, name in enumerate("abc")]
    links = [
        Link("a", "b", brighter),
        Link("b", "c", brighter),
        Link("a", "c", Match(True, (), gains=(2.0, 2.0, 2.0), inliers=90, stops_error=0.01)),
    ]
    [place] = group(clips, links)

    assert place.reference == "b"


def test_nothing_gives_nothing_and_one_clip_gives_one_place() -> None:
    """An empty card has no place; a single clip is its own reference."""
    assert group([]) == ()
    [place] = group([bare("a", 0)])
    assert (place.clips, place.reference) == (("a",), "a")


def test_picture_numbers_count_what_is_clipped_and_dark() -> None:
    """A frame half clipped and a quarter black says so."""
    light = np.full((40, 40, 3), 0.2, np.float32)
    light[:20] = 1.0
    light[30:] = 0.0
    numbers = picture_numbers([AnalysisFrame(light, light, 1.0, 0.004)], 2.0)

    assert (numbers.clipped, numbers.crushed, numbers.seconds) == (0.5, 0.25, 2.0)
    assert numbers.middle == pytest.approx(0.6, abs=1e-6)


def test_names_stay_with_their_clips() -> None:
    """A place keeps the name it had, wherever the others go; a new one takes the next number."""
    clips = [bare(name, n) for n, name in enumerate("abcd")]
    links = [accepted("b", "c")]
    before = Named(names={"yard": ["b", "c"], "place 1": ["d"]})

    assert {s.name: s.clips for s in group(clips, links, before)} == {
        "place 2": ("a",),
        "yard": ("b", "c"),
        "place 1": ("d",),
    }


def test_a_name_goes_with_most_of_its_clips() -> None:
    """A place that falls in two gives its name to the larger part, once."""
    clips = [bare(name, n) for n, name in enumerate("abc")]
    found = group(clips, [accepted("b", "c")], Named(names={"yard": ["a", "b", "c"]}))

    assert {s.name: s.clips for s in found} == {"place 1": ("a",), "yard": ("b", "c")}


def test_the_latest_word_on_the_reference_counts() -> None:
    """Of two references of one place that were chosen, the first of the list."""
    clips = [bare(name, n) for n, name in enumerate("abc")]
    links = [accepted("a", "b"), accepted("b", "c")]

    assert group(clips, links, Named(references=["c", "a"]))[0].reference == "c"
    assert group(clips, links, Named(references=["x"]))[0].reference == "b"


def test_a_clip_that_sees_a_place_made_by_hand_is_told_so() -> None:
    """It does not join what a person made, and says whom it sees there."""
    clips = [bare("a", 0), bare("b", 1)]
    [_, free] = group(clips, [accepted("a", "b")], Named(places={"door": ["a"]}))

    assert free.clips == ("b",)
    seen = because("place.seen-by-hand-made", clip="a", place="door")
    assert seen in free.members[0].why


def lit(picture: np.ndarray, side: float, colour: tuple[float, float, float]) -> np.ndarray:
    """A scene under a light from one side: eight times as strong there as at the other."""
    width = picture.shape[1]
    across = np.linspace(-1.5, 1.5, width, dtype=np.float32) * side
    light = np.exp2(across)[None, :, None] * np.array(colour, np.float32)
    return np.asarray(picture * light, np.float32)


def clips_of(seen: Seen, shots: list[tuple[str, np.ndarray, camera.View]]) -> list[ClipView]:
    """Clips in this order on the card, three minutes apart."""
    rng = np.random.default_rng(2)
    clips = []
    for order, (name, picture, view) in enumerate(shots):
        made = camera.record(view.of(picture, SIZE, rng), camera.Fault(), rng)
        features = (seen(made),)
        clips.append(
            ClipView(name, order * 3 * MINUTE, order, named("phone-log-1"), features, GOOD)
        )
    return clips


def test_one_place_under_two_lights_is_two_places(scene: Scene, seen: Seen) -> None:
    """Daylight from the left, then a lamp from the right: each light has its place."""
    day = lit(scene(3), -1.0, (0.9, 1.0, 1.2))
    lamp = lit(scene(3), 1.0, (1.3, 1.0, 0.5))
    wide, close = camera.View(share=0.9), camera.View(share=0.7)
    clips = clips_of(
        seen, [("a", day, wide), ("b", day, close), ("c", lamp, wide), ("d", lamp, close)]
    )

    assert parts(group(clips)) == [("a", "b"), ("c", "d")]


def test_a_lone_clip_under_another_light_does_not_join_the_place(scene: Scene, seen: Seen) -> None:
    """It sees the place, but lit otherwise, which it says; its colours alone would let it join."""
    day = lit(scene(3), -1.0, (1.0, 1.0, 1.0))
    dusk = lit(scene(3), 1.0, (1.0, 1.0, 1.0))
    wide, close = camera.View(share=0.9), camera.View(share=0.7)
    clips = clips_of(seen, [("a", day, wide), ("b", day, close), ("c", dusk, wide)])
    [_, lone] = group(clips)

    assert lone.clips == ("c",)
    assert lone.members[0].why[0].code == "place.other-light"
    assert lone.members[0].why[0].facts["clip"] in ("a", "b")
    assert lone.members[0].why[1].code.startswith("match.")


def test_several_places_out_of_order_on_the_card(scene: Scene, seen: Seen) -> None:
    """Two places shot in turns are two places; a clip without a view joins by time, not by name."""
    warm = scene(0) * np.array([1.3, 1.0, 0.5], np.float32)
    cold = scene(1) * np.array([0.7, 1.0, 1.4], np.float32)
    wide, close = camera.View(share=0.9), camera.View(share=0.7)
    lone = scene(20) * np.array([1.3, 1.0, 0.5], np.float32)
    shots = [("a", warm, wide), ("b", cold, wide), ("c", warm, close), ("d", cold, close)]
    clips = clips_of(seen, [*shots, ("e", lone, camera.View(x=0.85, share=0.4))])
    minutes = {"a": 0, "c": 3, "e": 6, "b": 200, "d": 203}
    timed = [replace(c, created=minutes[c.id] * MINUTE) for c in clips]

    assert parts(group(timed)) == [("a", "c", "e"), ("b", "d")]


def test_a_reference_says_why_it_was_taken() -> None:
    """The reasons are the figures, and what told it from the next best."""
    clips = [replace(bare("a", 0), numbers=replace(GOOD, clipped=0.05)), bare("b", 1)]
    [place] = group(clips, [accepted("a", "b")])

    seen, picture, ahead = place.why_reference
    assert seen == because("reference.views", views=1, others=1)
    assert (picture.code, picture.facts["clipped"]) == ("reference.picture", 0.0)
    assert ahead == because("reference.ahead", clip="a", by="clipped")


@pytest.mark.parametrize(
    ("better", "by"),
    [
        ({"off_neutral": 5.0}, "neutral"),
        ({"chart": True}, "chart"),
        ({"seconds": 19.0}, "length"),
    ],
)
def test_neutral_long_clips_with_a_chart_are_preferred(better: dict[str, object], by: str) -> None:
    """Each of them decides between clips that are otherwise alike."""
    numbers = replace(GOOD, off_neutral=60.0)
    clips = [
        replace(bare("a", 0), numbers=numbers),
        replace(bare("b", 1), numbers=replace(numbers, **better)),  # type: ignore[arg-type]
    ]
    [place] = group(clips, [accepted("a", "b")])

    assert place.reference == "b"
    assert place.why_reference[-1] == because("reference.ahead", clip="a", by=by)
