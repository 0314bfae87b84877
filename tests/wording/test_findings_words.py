"""What of a clip's own measurements a person is told."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from evenhand.measure.ends import EndsOverTime, WorstMoment
from evenhand.measure.findings import Findings
from evenhand.measure.mixedlight import MixedLight
from evenhand.measure.scenes import SceneChange
from evenhand.wording.findings import ends_told, remarks, warnings


def found(clipped: float = 0.0, crushed: float = 0.0, **more: Any) -> Findings:
    """A clip of two frames, the second of which lost these percent."""
    ends = EndsOverTime(
        clip_level=90.0,
        clip_from="picture",
        clip_stops=4.2,
        black_level=15.0,
        seconds=(1.0, 3.0),
        clipped=(0.0, clipped),
        crushed=(0.0, crushed),
        worst_clipped=WorstMoment(3.0, clipped),
        worst_crushed=WorstMoment(3.0, crushed),
    )
    return Findings(ends=ends, **more)


def test_an_ordinary_clip_needs_no_word() -> None:
    """Little clipped, little crushed, little noise: nothing is said."""
    assert remarks(found(0.2, 1.0)) == ()
    assert warnings(found(0.2, 1.0, noise=0.002), 0.8) == ()


@pytest.mark.parametrize("stops", [-1.2, 0.0, 0.7])
def test_clipped_light_is_said_to_be_lost_as_large_as_it_was(stops: float) -> None:
    """The figure is that before correction, whatever levelling does; darker is said to be grey."""
    [told] = warnings(found(4.0), stops)

    assert "4.0 % of the picture (at 3.0 s, +4.2 stops" in told
    assert "levelling cannot restore it" in told
    assert ("turns grey" in told) == (stops < 0)


@pytest.mark.parametrize(
    ("stops", "crushed", "said"), [(1.2, 6.0, 1), (0.9, 6.0, 0), (1.2, 4.0, 0), (-2, 60, 0)]
)
def test_raising_what_is_crushed_warns(stops: float, crushed: float, said: int) -> None:
    """Over one stop up with over 5 % crushed."""
    assert len(warnings(found(0.0, crushed), stops)) == said


@pytest.mark.parametrize(
    ("noise", "stops", "said"), [(0.004, 1.5, True), (0.004, 1.0, False), (0.02, -1.0, False)]
)
def test_noise_that_is_raised_over_the_limit_warns(noise: float, stops: float, said: bool) -> None:
    """sigma · 2^stops over 0.01 of light: 0.004 · 2^1.5 is 0.0113."""
    told = warnings(found(noise=noise), stops)

    assert bool(told) == said
    assert all("noise" in words for words in told)


def test_what_is_special_is_said_in_words() -> None:
    """No light, no colour, a change of scene, two lights."""
    black = msgspec.structs.replace(found().ends, crushed=(100.0, 100.0))
    white = msgspec.structs.replace(found().ends, clipped=(100.0, 99.0))
    mixed = MixedLight((6400, 3100), (0.6, 0.4))

    assert "no light" in remarks(Findings(ends=black))[0]
    assert "clipped all over" in remarks(Findings(ends=white))[0]
    assert "no colour" in remarks(found(monochrome=True))[0]
    assert "between 1.0 s and 3.0 s" in remarks(found(change=SceneChange(1.0, 3.0)))[0]
    assert "6400 K (60 % of it)" in remarks(found(mixed=mixed))[0]


def test_the_ends_in_a_sentence() -> None:
    """From the least to the most, with a digit that fits."""
    assert "clipped 0.0 to 4.0 % of the picture, crushed 0 %" in ends_told(found(4.0).ends)
