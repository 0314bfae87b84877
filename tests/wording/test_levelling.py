"""What a person reads of levelling, from the codes and figures of its records."""

from __future__ import annotations

from dataclasses import replace
from typing import get_args, get_type_hints

import numpy as np
import pytest

from evenhand.colourmath.encodings import named
from evenhand.grade.document import Adjustment, Cdl, White
from evenhand.jobs.changes import Change
from evenhand.jobs.explain import Trust
from evenhand.measure import reference
from evenhand.measure.absolute import anchor_told, anchors
from evenhand.measure.clipview import ClipView, PictureNumbers
from evenhand.measure.decisions import (
    Difference,
    GreySample,
    LevelDecision,
    Link,
    Match,
    Place,
    Proposal,
    Status,
)
from evenhand.measure.levelling import grey_refusal, level_place
from evenhand.reasons import Why, because
from evenhand.wording.adjusting import adjusted
from evenhand.wording.figures import plain
from evenhand.wording.levelling import (
    changed,
    correction,
    proposal,
    shortly,
    source_words,
    status_words,
)
from evenhand.wording.places import AHEAD
from evenhand.wording.saying import clause, said, sentence

AGREE = because("match.points-agree", points=120, coverage=0.45, support=0.9, spread=0.12)


def told(why: Why) -> str:
    """Reasons as the terminal shows them."""
    return plain(said(why))


def link(a: str, b: str, stops: float) -> Link:
    """Two clips of which the second is brighter, and otherwise the same."""
    gains = (stops, stops, stops)
    found = Match(
        True, (AGREE,), stops=stops, gains=gains, stops_error=0.004, mired_error=0.4, inliers=120
    )
    return Link(a, b, found)


def decided(*links: Link, greys: tuple[GreySample, ...] = ()) -> dict[str, LevelDecision]:
    """The decisions of a place of four clips, of which the first is the reference."""
    place = Place("oven", ("a", "b", "c", "d"), "a", (), ())
    return {d.clip: d for d in level_place(place, {}, links, greys)}


def test_a_match_is_told_with_its_difference_and_where_it_comes_from() -> None:
    """The difference, its errors, the clips between, and the evidence."""
    found = decided(link("a", "b", -0.65), link("b", "c", 0.4))

    assert told(found["b"].why) == (
        "0.65 stop darker than a (±0.004 stop, ±0.4 mired); 120 points agree on a common view of "
        "45 % of the picture, 90 % of it with one ratio to within 0.12 stop; the white is already "
        "even and stays"
    )
    assert "than a (±0.006 stop, ±0.6 mired, through b); 120 points" in told(found["c"].why)
    assert told(found["d"].why) == "no common view with a"
    assert told(found["d"].would_change).startswith("a chart or a grey card in this clip; ")
    assert told(found["a"].why) == (
        "the others are matched to it; its own exposure and white stay as shot"
    )


def test_an_even_clip_and_an_open_loop_are_told() -> None:
    """That nothing moved, which round does not close, and which match was dropped."""
    even = decided(link("a", "b", 0.001))["b"]
    loop = decided(link("a", "b", 0.3), link("b", "c", 0.3), link("a", "c", 0.62))["c"]
    broken = decided(link("a", "b", 0.3), link("b", "c", 0.3), link("a", "c", 1.5))["c"]

    assert told(even.why).startswith("already even with a, nothing moved: no difference that shows")
    assert "the round " in told(loop.why)
    assert " closes to 0.020 stop and 0.0 mired" in told(loop.why)
    assert "was dropped: it contradicts the others" in told(broken.why)


def test_a_grey_card_is_told_in_its_clip_and_in_those_that_follow() -> None:
    """What it shows, and that it is set; one that was refused says why."""
    card = GreySample("a", (0.09, 0.09, 0.09), 0.02)
    found = decided(link("a", "b", 0.4), greys=(card,))
    bad = GreySample("a", (0.2, 0.2, 0.2), 0.3)
    refused = grey_refusal(bad)

    assert "its grey card shows -1.00 stop and a white of 65" in told(found["a"].why)
    assert told(found["a"].why).endswith("it is set to 18 % and neutral")
    assert "by the grey card in a it has -0.60 stop and a white of 65" in told(found["b"].why)
    assert told(found["b"].would_change) == "another grey card; another reference clip"
    assert refused is not None
    assert plain(clause(refused)) == (
        "the grey card in a was not used: the sample is uneven by 0.30 stop (limit 0.15), so it "
        "holds more than the card, or a shadow"
    )
    assert told(decided(greys=(bad,))["a"].why).endswith(plain(clause(refused)))


def test_kept_warmth_is_told_and_a_card_is_then_not_neutral() -> None:
    """The share that stays, in mired."""
    [anchor] = anchors([], [GreySample("a", (0.2, 0.18, 0.12), 0.02)])
    kept = anchor_told("a", anchor, anchor.gains)
    assert told(kept).endswith("it is set to 18 % and neutral")

    warm = told(anchor_told("a", replace(anchor, kept=12.3), np.zeros(3)))
    assert warm.endswith("it is set to 18 %; 12 mired of the light's warmth are kept")


def test_every_point_of_a_reference_has_words() -> None:
    """What the better clip is ahead by, as the points are counted."""
    good = PictureNumbers(clipped=0.003, crushed=0.02, middle=0.2, seconds=10.0, chart=True)
    clips = [ClipView(n, None, i, named("phone-log-1"), (), good) for i, n in enumerate("ab")]
    points = reference._points(clips[0], clips, [], None)
    _, why = reference.choose_reference(clips, [link("a", "b", 0.0)])

    assert set(points) == set(AHEAD)
    assert told(why) == (
        "sees 1 of the 1 others; its middle tone is 1.0 stop over that of a well exposed picture, "
        "0.3 % of it clipped, 2.0 % in noise, a chart in it, 10.0 s long; "
        "b would do as well, and comes later"
    )


def test_statuses_have_one_word_each() -> None:
    """What a person sees of each status."""
    assert [status_words(s) for s in get_args(Status)] == [
        "reference", "matched", "set by chart", "set by grey card", "unchanged",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("status", "stops", "via", "words"),
    [
        ("unchanged", 0.0, (), "shares no view"),
        ("grey_card", 0.2, (), "by a grey card"),
        ("chart", 0.2, (), "by a chart"),
        ("reference", 0.0, (), "the others match it"),
        ("matched", 0.0, (), "already even"),
        ("matched", 0.2, ("b", "c"), "120 points agree, by b, c"),
    ],
)
def test_a_line_of_the_table(
    status: Status, stops: float, via: tuple[str, ...], words: str
) -> None:
    """Why, in a few words."""
    decision = LevelDecision(
        clip="x", place="s", reference="a", status=status, stops=stops, why=(), via=via,
        match=Match(True, (), inliers=120),
    )  # fmt: skip
    assert shortly(decision, alone=False) == words
    if status == "reference":
        assert shortly(decision, alone=True) == "alone in its place"


def test_a_correction_in_a_few_words() -> None:
    """Exposure and the white as shot, or that nothing is done."""
    decision = LevelDecision(
        clip="x", place="s", reference="a", status="matched", why=(), stops=-1.4,
        white=White(5600.0, 0.0032),
    )  # fmt: skip
    still = LevelDecision(clip="x", place="s", reference="a", status="unchanged", why=())

    assert plain(correction(decision)) == "-1.40 stops; its white was 5600 K, Duv +0.0032"
    assert correction(still) == "as shot"


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (Change("a", "status", None, "grey_card"), "status not levelled -> set by grey card"),
        (Change("a", "status", "matched", "unchanged"), "status matched -> unchanged"),
        (Change("a", "place", None, "door"), "place none -> door"),
        (Change("a", "exposure", -1.4, 0.0), "exposure -1.40 stops -> 0.00 stop"),
        (
            Change("a", "white", None, White(5600.0, 0.0032)),
            "white was as shot -> 5600 K, Duv +0.0032",
        ),
        (Change("a", "drift", False, True), "light inside the clip left as shot -> evened out"),
        (Change("door", "reference", "a", "b"), "reference a -> b"),
    ],
)
def test_a_change_is_told_by_its_code_and_values(change: Change, words: str) -> None:
    """From what to what; only a first levelling has no status before."""
    assert plain(changed(change.what, change.before, change.after)) == words
    assert change.first == ("not levelled" in words)


def test_all_that_may_set_a_clip_has_a_name() -> None:
    """The sources, as the explanation has them."""
    sources = get_args(get_type_hints(Trust)["source"])
    assert [source_words(s) for s in sources] == [
        "a white by hand", "a 24-patch chart", "a grey card", "the reference clip as shot",
        "the clip as shot",
    ]  # fmt: skip


def test_an_adjustment_is_worded_once() -> None:
    """Each thing that is not neutral, with its value."""
    made = Adjustment(
        exposure=-0.5, white=White(5000.0, 0.001), cdl=Cdl(slope=(1.1, 1.0, 0.9)), contrast=1.08
    )
    assert [(name, plain(value)) for name, value in adjusted(made)] == [
        ("exposure", "-0.50 stop"),
        ("white", "5000 K, Duv +0.0010"),
        ("slope", "1.1,1,0.9"),
        ("contrast", "1.08"),
    ]
    assert adjusted(Adjustment()) == []


def test_a_proposal_says_how_far_it_may_be_off() -> None:
    """The typical error, and that of one case in ten."""
    found = Proposal(White(5600.0, 0.002), 7.4, 33.0, (), ())
    assert plain(proposal(found)) == (
        "a white of 5600 K, Duv +0.0020, typically right to 7 mired and in one case of ten off by "
        "more than 33 mired"
    )


def test_two_lights_are_told_with_what_became_of_the_smaller() -> None:
    """How the smaller light differs from the larger one."""
    second = Difference(-0.5, 23.0, 0.0)
    lights = because("match.two-lights", share=0.35, stops=second.stops, mired=second.mired)
    assert "35 % of the common view became 0.50 stop darker and 23 mired warmer" in told((lights,))


def test_a_code_without_words_is_shown_with_its_facts() -> None:
    """Nothing is lost where a file comes from a later program."""
    assert clause(because("match.unheard-of", stops=0.3)) == "match.unheard-of (stops 0.3)"
    assert sentence(said((because("level.exposure-even"),))) == (
        "The exposure is already even and stays."
    )
