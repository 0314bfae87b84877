"""Half of the way to a reference still, never further than is healthy, and always readable."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evenhand.grade.looks import LOOKS
from evenhand.grade.operators import SplitTone
from evenhand.grade.palette import PaletteError, distance, palette_of, towards
from evenhand.grade.recipe import parse, written

RNG = np.random.default_rng(8)
GREYS = np.linspace(0.0, 1.0, 1025)[:, None].repeat(3, 1)


def scene(low: float = 0.1, high: float = 0.9, colour: float = 0.05) -> np.ndarray:
    """A picture (9000, 3): tones over that range, colours about grey."""
    tone = RNG.uniform(low, high, 9000)[:, None]
    return (tone + colour * RNG.standard_normal((9000, 3))).clip(0, 1)


def test_a_picture_towards_itself_does_next_to_nothing() -> None:
    """One step of tone with a slope of 1; no colour is pushed."""
    palette = palette_of(scene())
    recipe = towards(palette, palette, "same", "Same")

    assert len(recipe.steps) == 1
    assert np.abs(recipe.apply(GREYS) - GREYS).max() < 0.04
    assert recipe.is_neutral


@pytest.mark.parametrize("name", ["daybreak", "flour", "rye", "small-hours"])
def test_it_comes_nearer_to_a_looked_still(name: str) -> None:
    """The same picture under a look as reference: what is compared comes nearer, and no part of it
    goes past."""
    before = scene()
    after = LOOKS[name].apply(before)
    recipe = towards(palette_of(before), palette_of(after), "to-it", "To it")
    start = distance(palette_of(before), palette_of(after))
    end = distance(palette_of(recipe.apply(before)), palette_of(after))

    assert sum(map(abs, end.values())) < 0.8 * sum(map(abs, start.values()))
    for key, gap in start.items():
        assert abs(end[key]) <= max(1.15 * abs(gap), 0.05), key


def test_a_blue_still_leans_darks_to_blue() -> None:
    """By hue 256 of the look that it was made with, within 40 degrees, and within the bound."""
    before = scene()
    recipe = towards(
        palette_of(before), palette_of(LOOKS["small-hours"].apply(before)), "blue", "Blue"
    )
    [split] = [step for step in recipe.steps if isinstance(step, SplitTone)]

    assert split.dark is not None
    assert split.dark.hue == pytest.approx(256, abs=40)
    assert 0.002 < (split.dark.amount or 0.0) <= 0.018


STILLS = {
    "night": scene(0.02, 0.3, 0.02) * [0.8, 0.9, 1.2],
    "snow": scene(0.6, 1.0, 0.01),
    "sunset": (scene(0.1, 0.9, 0.08) * [1.3, 0.9, 0.6]).clip(0, 1),
    "fog": scene(0.45, 0.6, 0.01),
    "poster": scene(0.0, 1.0, 0.3),
}


@pytest.mark.parametrize(("one", "other"), [*permutations(STILLS, 2)])
def test_however_far_apart_the_look_stays_healthy(one: str, other: str) -> None:
    """Greys rise with a slope of 0.15 to 2.2, no end is flat, casts stay small, and the document
    is taken."""
    recipe = towards(palette_of(STILLS[one]), palette_of(STILLS[other]), "a-wish", "A wish")
    out = recipe.apply(GREYS)
    slope = np.diff(out @ [0.2126, 0.7152, 0.0722]) * 1024

    assert parse(written(recipe)) == recipe
    assert slope[20:1004].min() > 0.15
    assert slope.max() < 2.2
    assert np.ptp(out, axis=1).max() < 0.09


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_any_two_pictures_give_a_legal_recipe(seed: int) -> None:
    """Noise of any kind; nothing is out of its range."""
    rng = np.random.default_rng(seed)
    pictures = [rng.random((600, 3)) ** rng.uniform(0.1, 8) * rng.random(3) for _ in range(2)]
    recipe = towards(*map(palette_of, pictures), "any", "Any")

    assert parse(written(recipe)) == recipe


def test_too_small_a_still_is_refused() -> None:
    """Under 500 pixels nothing can be told."""
    with pytest.raises(PaletteError, match="500"):
        palette_of(np.zeros((10, 10, 3)))
