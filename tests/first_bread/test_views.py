"""The small pictures that come with the demo, for judging looks."""

from __future__ import annotations

import numpy as np
import pytest

from first_bread.pictures import HEIGHT, VIEWS, WIDTH, jpeg, render, signal


@pytest.mark.parametrize("view", VIEWS, ids=lambda view: view.name)
def test_a_picture_is_small_and_whole(view) -> None:
    """Under 60 kB, of the size said, with darks and lights in it."""
    data = jpeg(view.name)
    picture = signal(data)

    assert len(data) < 60_000
    assert picture.shape == (HEIGHT, WIDTH, 3)
    assert np.quantile(picture, 0.02) < 0.2
    assert np.quantile(picture, 0.98) > 0.5


@pytest.mark.slow
@pytest.mark.parametrize("view", VIEWS, ids=lambda view: view.name)
def test_a_picture_is_what_its_scene_renders(view) -> None:
    """Made anew from the scene it is the same, but for the rounding of another machine."""
    kept, made = signal(jpeg(view.name)), signal(render(view))

    assert np.abs(kept - made).mean() < 0.25 / 255
    assert np.quantile(np.abs(kept - made), 0.999) < 4 / 255


def test_a_picture_that_is_missing_is_said() -> None:
    """With its name."""
    with pytest.raises(FileNotFoundError, match="nosuch"):
        jpeg("nosuch")
