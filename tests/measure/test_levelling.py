"""Levelling a place: what is moved, by how much, and what stays."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import msgspec
import numpy as np
import pytest
import simulated_camera as camera

from evenhand.colourmath.encodings import named
from evenhand.colourmath.white import levelling_matrix
from evenhand.measure import ratios
from evenhand.measure.decisions import Difference, GreySample, LevelDecision, Link, Match, Place
from evenhand.measure.evenness import corrected, evenness, score
from evenhand.measure.levelling import grey_refusal, level_place
from evenhand.measure.places import ClipView, PictureNumbers, find_links
from evenhand.measure.reference import BY_HAND
from evenhand.measure.views import Features
from evenhand.reasons import Why, because

SIZE = (640, 360)
Seen = Callable[..., Features]
Scene = Callable[[int], np.ndarray]
GOOD = PictureNumbers(clipped=0.0, crushed=0.0, middle=0.12, seconds=10.0)
FAULTS = {
    "a": camera.Fault(0.2, 12, 0.004),
    "b": camera.Fault(-0.5, -10, 0.001),
    "c": camera.Fault(0.9, 25, -0.003),
    "d": camera.Fault(-0.7, 30, 0.002),
}
PLACE = Place("oven", ("a", "b", "c", "d"), "a", BY_HAND, ())


class Shoot:
    """Three clips of one scene and one of another, with their links and the truth."""

    def __init__(self, scene: Scene, seen: Seen) -> None:
        rng = np.random.default_rng(0)
        views = {
            "a": camera.View(share=0.8),
            "b": camera.View(x=0.4, share=0.6),
            "c": camera.View(x=0.55, share=0.5),
            "d": camera.View(),
        }
        self.clips, faults = {}, []
        for order, (name, view) in enumerate(views.items()):
            picture = scene(7 if name == "d" else 6)
            recording = camera.record(view.of(picture, SIZE, rng), FAULTS[name], rng)
            features = (seen(recording),)
            self.clips[name] = ClipView(name, None, order, named("phone-log-1"), features, GOOD)
            faults.append({"file": f"{name}.mov", "fault_matrix_bt2020": recording.matrix.tolist()})
        self.truth = {"clips": faults}
        self.links = find_links(list(self.clips.values()))

    def neutral(self, name: str, grey: float = 0.18) -> tuple[float, float, float]:
        """What the camera of a clip makes of a grey card."""
        r, g, b = FAULTS[name].matrix() @ np.full(3, grey)
        return float(r), float(g), float(b)


@pytest.fixture(scope="module")
def shoot(scene: Scene, seen: Seen) -> Shoot:
    """Made once."""
    return Shoot(scene, seen)


def codes(why: Why) -> list[str]:
    """The codes of reasons, in their order."""
    return [reason.code for reason in why]


def by_clip(decisions: tuple[LevelDecision, ...]) -> dict[str, LevelDecision]:
    """Decisions by clip."""
    return {d.clip: d for d in decisions}


def synthetic(a: str, b: str, gains: np.ndarray, error: float = 0.004) -> Link:
    """A match by its gains."""
    found = ratios.difference_of(gains)
    match = Match(
        True,
        (because("match.points-agree", points=90, coverage=0.5, support=0.9, spread=0.1),),
        stops=found.stops,
        mired=found.mired,
        duv=found.duv,
        gains=(float(gains[0]), float(gains[1]), float(gains[2])),
        stops_error=error,
        mired_error=100 * error,
    )
    return Link(a, b, match)


def two(gains: np.ndarray, error: float = 0.004) -> LevelDecision:
    """What is decided for clip b that differs from its reference by the gains."""
    place = Place("s", ("a", "b"), "a", (), ())
    return level_place(place, {}, [synthetic("a", "b", gains, error)])[1]


def test_matched_clips_end_even_with_the_reference(shoot: Shoot) -> None:
    """Every connected clip ends within 0.03 stop and 3 mired; the other is left as it is."""
    decisions = level_place(PLACE, shoot.clips, shoot.links)

    assert [d.status for d in decisions] == ["reference", "matched", "matched", "unchanged"]
    for left in score(decisions, shoot.truth):
        if left.status == "matched":
            assert abs(left.before.stops) > 0.5
            assert abs(left.after.stops) <= 0.03
            assert abs(left.after.mired) <= 3.0
            assert abs(left.after.duv) <= 0.001


def test_the_reference_stays_as_shot_without_a_grey_card(shoot: Shoot) -> None:
    """Nobody knows better: its exposure and white are not moved."""
    reference = level_place(PLACE, shoot.clips, shoot.links)[0]

    assert (reference.stops, reference.white) == (0.0, None)
    assert codes(reference.why)[0] == "level.reference"


def test_a_clip_without_common_view_is_untouched_and_gets_a_proposal(shoot: Shoot) -> None:
    """Exposure and white stay; the proposal says how far off it may be, and what would help."""
    lone = level_place(PLACE, shoot.clips, shoot.links)[3]

    assert (lone.stops, lone.white, lone.confidence) == (0.0, None, 0.0)
    assert lone.why[0] == because("level.no-common-view", clip="a")
    assert lone.proposal is not None
    assert lone.proposal.mired_worst >= 16
    [tones] = lone.proposal.exposure
    assert tones.facts["tenth_over"] >= 1.6
    assert codes(lone.would_change)[0] == "change.anchor-in-clip"


def test_every_decision_has_a_reason(shoot: Shoot) -> None:
    """Why, and what would change it, is never empty; records survive JSON."""
    for decision in level_place(PLACE, shoot.clips, shoot.links):
        assert decision.why
        assert decision.would_change
        for way in (msgspec.json, msgspec.msgpack):
            assert way.decode(way.encode(decision), type=LevelDecision) == decision
        reasons = [*decision.why, *decision.would_change]
        kinds = {type(value) for reason in reasons for value in reason.facts.values()}
        assert kinds <= {str, int, float, bool, list, type(None)}


def test_a_clip_that_is_even_already_is_not_moved() -> None:
    """A difference within its own uncertainty, or too small to be seen, moves nothing."""
    for gains, error in ((np.full(3, 0.015), 0.004), (np.array([0.09, 0.08, 0.085]), 0.05)):
        decision = two(gains, error)

        assert (decision.stops, decision.white) == (0.0, None)
        assert decision.why[0].code == "level.already-even"


def test_clips_that_were_right_are_hardly_moved(scene: Scene, seen: Seen) -> None:
    """Two framings through one camera without change: at most 0.02 stop and 1 mired."""
    rng = np.random.default_rng(3)
    for seed in (9, 10, 11):
        fault = camera.random_fault(rng)
        clips = []
        for order, view in enumerate((camera.View(share=0.8), camera.View(x=0.45, share=0.55))):
            recording = camera.record(view.of(scene(seed), SIZE, rng), fault, rng)
            features = (seen(recording),)
            clips.append(ClipView(str(order), None, order, named("phone-log-1"), features, GOOD))
        place = Place("s", ("0", "1"), "0", (), ())
        moved = level_place(place, {c.id: c for c in clips}, find_links(clips))[1]

        assert moved.status == "matched"
        assert abs(moved.stops) <= 0.02
        if moved.white is not None:
            assert abs(1e6 / moved.white.kelvin - camera.D65_MIRED) <= 1.0


def test_exposure_and_white_are_moved_apart() -> None:
    """A clip that is off in exposure alone keeps its white, and the other way round."""
    brighter = two(np.full(3, 0.4))
    assert brighter.stops == pytest.approx(-0.4, abs=1e-6)
    assert brighter.white is None

    gains = ratios.gains_of(np.array([1.1, 1.0, 0.8]))
    warmer = two(gains - ratios.stops_of(gains))
    assert warmer.stops == 0.0
    assert warmer.white is not None
    assert warmer.white.kelvin < 6000


def test_the_correction_takes_neutrals_of_any_reference_white_home() -> None:
    """A reference that is itself warm keeps its warmth, and the clip gets just that."""
    warm = ratios.matrix_of(np.array([0.2, 0.0, -0.4])) @ np.full(3, 0.18)
    gains = np.array([0.5, 0.3, 0.9])
    clip = ratios.matrix_of(gains) @ warm
    decision = two(gains)

    assert levelling_matrix(decision.stops, decision.white) @ clip == pytest.approx(warm, rel=2e-4)


def test_a_clip_seen_through_another_is_matched_by_the_chain() -> None:
    """No direct view, but a chain of matches: levelled, less sure, and the chain is named."""
    place = Place("s", ("a", "b", "c"), "a", (), ())
    links = [synthetic("a", "b", np.full(3, 0.3)), synthetic("b", "c", np.full(3, 0.4))]
    last = level_place(place, {}, links)[2]

    assert last.stops == pytest.approx(-0.7, abs=1e-6)
    assert last.via == ("b",)
    assert last.why[0].facts["through"] == ["b"]
    assert last.stops_error > 0.004


def test_an_open_loop_loses_its_worst_match_and_says_so() -> None:
    """Matches that contradict one another are not averaged."""
    place = Place("s", ("a", "b", "c"), "a", (), ())
    links = [
        synthetic("a", "b", np.full(3, 0.3)),
        synthetic("b", "c", np.full(3, 0.3)),
        synthetic("a", "c", np.full(3, 1.5), error=0.05),
    ]
    last = level_place(place, {}, links)[2]

    assert last.stops == pytest.approx(-0.6, abs=1e-6)
    assert because("level.match-dropped", clips=["a", "c"]) in last.why


def test_a_loop_that_closes_is_told() -> None:
    """The closure of a round of matches is part of the reason."""
    place = Place("s", ("a", "b", "c"), "a", (), ())
    links = [
        synthetic("a", "b", np.full(3, 0.3)),
        synthetic("b", "c", np.full(3, 0.3)),
        synthetic("a", "c", np.full(3, 0.62)),
    ]
    last = level_place(place, {}, links)[2]

    assert last.closure is not None
    assert abs(last.closure.stops) == pytest.approx(0.02, abs=1e-6)
    [loop] = [r for r in last.why if r.code == "level.loop"]
    assert loop.facts["stops"] == pytest.approx(0.02, abs=1e-6)
    assert set(loop.facts["clips"]) == {"a", "b", "c"}  # type: ignore[arg-type]


def test_levelling_twice_changes_nothing(shoot: Shoot) -> None:
    """Once the corrections are in the light, everything is even already."""
    decisions = level_place(PLACE, shoot.clips, shoot.links)
    done = {
        d.clip: replace(
            shoot.clips[d.clip],
            features=tuple(corrected(f, d) for f in shoot.clips[d.clip].features),
        )
        for d in decisions
    }
    again = level_place(PLACE, done, find_links(list(done.values())))

    assert [(d.stops, d.white) for d in again] == [(0.0, None)] * 4
    assert decisions == level_place(PLACE, shoot.clips, shoot.links)


def test_a_grey_card_sets_the_reference_and_all_that_follow_it(shoot: Shoot) -> None:
    """Reference and matched clips alike render the card as 18 % neutral grey."""
    sample = GreySample("a", shoot.neutral("a"), spread=0.03)
    decisions = by_clip(level_place(PLACE, shoot.clips, shoot.links, [sample]))

    assert [decisions[c].status for c in "abcd"] == ["grey_card", "matched", "matched", "unchanged"]
    for name, tolerance in (("a", 1e-4), ("b", 0.004), ("c", 0.004)):
        d = decisions[name]
        card = levelling_matrix(d.stops, d.white) @ shoot.neutral(name)
        assert card == pytest.approx(np.full(3, 0.18), abs=tolerance)
    assert decisions["d"].white is None


def test_a_grey_card_in_another_clip_sets_them_all_too(shoot: Shoot) -> None:
    """The card need not be in the reference clip: the matches carry it over."""
    sample = GreySample("b", shoot.neutral("b"), spread=0.03)
    decisions = by_clip(level_place(PLACE, shoot.clips, shoot.links, [sample]))

    assert decisions["b"].status == "grey_card"
    for name in "abc":
        d = decisions[name]
        card = levelling_matrix(d.stops, d.white) @ shoot.neutral(name)
        assert card == pytest.approx(np.full(3, 0.18), abs=0.004)


def test_a_grey_card_in_a_clip_that_nothing_connects_sets_that_clip(shoot: Shoot) -> None:
    """It is levelled by its own card; the others are not touched by it."""
    sample = GreySample("d", shoot.neutral("d"), spread=0.03)
    decisions = by_clip(level_place(PLACE, shoot.clips, shoot.links, [sample]))
    d = decisions["d"]

    assert d.status == "grey_card"
    card = levelling_matrix(d.stops, d.white) @ shoot.neutral("d")
    assert card == pytest.approx(np.full(3, 0.18), abs=1e-4)
    assert decisions["a"].white is None


@pytest.mark.parametrize(
    ("sample", "code"),
    [
        (GreySample("a", (0.2, 0.2, 0.2), 0.03, clipped=True), "card.clipped"),
        (GreySample("a", (0.2, 0.2, 0.2), 0.3), "card.uneven"),
        (GreySample("a", (0.10, 0.25, 0.10), 0.03), "card.coloured"),
        (GreySample("a", (0.2, 0.0, 0.2), 0.03), "card.no-light"),
        (GreySample("a", (0.005, 0.005, 0.005), 0.03), "card.far-from-grey"),
    ],
    ids=["clipped", "uneven", "green", "black", "dark"],
)
def test_a_bad_grey_sample_is_refused_with_a_reason(
    sample: GreySample, code: str, shoot: Shoot
) -> None:
    """What cannot be a grey card changes nothing, and the decision says why."""
    refused = grey_refusal(sample)
    assert refused is not None
    assert (refused.code, refused.facts["clip"]) == (code, "a")
    reference = level_place(PLACE, shoot.clips, shoot.links, [sample])[0]
    assert (reference.stops, reference.white) == (0.0, None)
    assert refused in reference.why


def test_evenness_is_measured_again_after_levelling(shoot: Shoot) -> None:
    """Before shows the faults; after is found from the corrected light, and is small."""
    decisions = level_place(PLACE, shoot.clips, shoot.links)
    found = evenness(decisions, shoot.clips, shoot.links)

    assert found.before is not None
    assert found.after is not None
    assert found.before.worst_stops > 0.6
    assert found.after.worst_stops <= 0.01
    assert found.after.worst_mired <= 1.0
    assert found.outlier is None
    assert found.clips[0].after == Difference(0.0, 0.0, 0.0)
    assert (found.clips[3].before, found.clips[3].after) == (None, None)


def test_evenness_names_the_clip_that_stands_out(shoot: Shoot) -> None:
    """A clip that is not corrected is seen to differ by what it differs."""
    decisions = [
        msgspec.structs.replace(d, stops=0.0, white=None) if d.clip == "c" else d
        for d in level_place(PLACE, shoot.clips, shoot.links)
    ]
    found = evenness(decisions, shoot.clips, shoot.links)

    assert found.outlier == "c"
    point = found.clips[2]
    assert point.before is not None
    assert point.after is not None
    assert point.after.stops == pytest.approx(point.before.stops, abs=0.01)


def test_score_of_doing_nothing_is_the_fault_itself(shoot: Shoot) -> None:
    """Without corrections, after is before; stops are those of the camera's faults."""
    idle = [
        LevelDecision(clip=c, place="oven", reference="a", status="unchanged", why=())
        for c in "abcd"
    ]
    for left in score(idle, shoot.truth):
        assert left.before.mired == pytest.approx(left.after.mired, abs=1e-6)
        expected = FAULTS[left.clip].stops - FAULTS["a"].stops
        assert left.before.stops == pytest.approx(expected, abs=5e-3)
