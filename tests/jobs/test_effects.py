"""Halation and grain in masters and stills: only where asked for, and the same in both."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import av
import numpy as np
import pytest

from evenhand.colourmath.encodings import named
from evenhand.colourmath.ycbcr import to_codes
from evenhand.errors import UsageError
from evenhand.grade.document import Grade, LookUse
from evenhand.grade.effects import Effects, Grain, Halation, effects_in, effects_of
from evenhand.grade.looks import LOOKS
from evenhand.grade.recipe import parse
from evenhand.jobs.identify import scan
from evenhand.jobs.look import LookOptions, use_look
from evenhand.jobs.looks import find_look
from evenhand.jobs.master import MasterOptions, master
from evenhand.jobs.picture import still
from evenhand.media.picturefile import read_picture

LOOK = (
    'format = 1\nname = "grainy"\ntitle = "Grainy"\npurpose = "To try."\n'
    "[effects.grain]\nstops = 0.2\nsize = 0.005\ncolour = 0.0\n"
)


def grey(number: int) -> tuple[np.ndarray, ...]:
    """Brighter to the right, so that one side can be told from the other."""
    luma = np.broadcast_to(np.linspace(440, 560, 192).astype(np.uint16), (108, 192)).copy()
    return luma, *[np.full((108, 96), 512, np.uint16)] * 2


@pytest.fixture
def shoot(synth: ModuleType, tmp_path: Path) -> Path:
    """A shoot of one clip of three frames."""
    card = tmp_path / "card"
    card.mkdir()
    synth.write_clip(
        card / "A001.mov",
        **{**synth.PRORES, "tags": synth.PHONE_LOG, "frames": 3, "picture": grey},
    )
    scan(card, tmp_path / "card.shoot", {"A001": "phone-log-1"})
    (tmp_path / "grainy.toml").write_text(LOOK)
    return tmp_path / "card.shoot"


def lumas(path: Path) -> list[np.ndarray]:
    with av.open(str(path)) as container:
        return [
            np.frombuffer(frame.planes[0], np.uint16).reshape(frame.height, -1)[:, : frame.width]
            for frame in container.decode(video=0)
        ]


@pytest.mark.media
@pytest.mark.slow
def test_a_master_has_the_grain_that_was_asked_for_and_a_still_the_same(
    shoot: Path, tmp_path: Path, quick_spec: Callable[..., str]
) -> None:
    """Without: rows are flat. With: they vary, the mean light stays, frames differ, and the still
    of the second frame shows the master's grain."""
    spec = tmp_path / "quick.toml"
    spec.write_text(quick_spec("quick", None), "utf-8")
    made = []
    for effects in (False, True):
        use_look(shoot, find_look(str(tmp_path / "grainy.toml")), LookOptions(1.0, effects=effects))
        to = tmp_path / f"out{effects}"
        result = master(shoot, MasterOptions((str(spec),), to))
        made.append(lumas(Path(result.made[0].path)))
    without, grained = made
    still(shoot, "A001", lambda rate: 1 / rate, tmp_path / "one.png")
    shown = to_codes(read_picture(tmp_path / "one.png"), 10, "bt709", "narrow")[..., 0]
    noise = [frame - plain.astype(float) for frame, plain in zip(grained, without, strict=True)]

    assert without[1].std(axis=0).max() < 1.5
    assert noise[1].std() > 5.0
    assert abs(noise[1].mean()) < 1.0
    assert np.corrcoef(noise[1].ravel(), noise[2].ravel())[0, 1] < 0.1
    of_still = (shown - without[1]).ravel()
    alike = [np.corrcoef(frame.ravel(), of_still)[0, 1] for frame in noise]
    assert alike[1] > 0.6  # the quick encoder blurs grain
    assert max(alike[0], alike[2]) < 0.1


def test_effects_are_as_strong_as_the_look() -> None:
    """Half the look is half the grain; none of it is none; looks without effects have none."""
    recipe = parse(LOOK + "[effects.halation]\namount = 0.4\n")
    half = effects_of(recipe, 0.5)

    assert half == Effects(
        halation=Halation(amount=0.2), grain=Grain(stops=0.1, size=0.005, colour=0.0)
    )
    assert effects_of(recipe, 0.0).are_none
    assert effects_of(object()).are_none


def test_no_look_brings_effects_and_none_come_unasked() -> None:
    """Of ours none has any; a use that does not ask gets none; HLG is refused with the reason."""
    recipe = parse(LOOK)
    clip = named("phone-log-1")

    assert all(look.effects.are_none for look in LOOKS.values())
    assert effects_in(Grade(clip, look=LookUse("grainy")), lambda _: recipe).are_none
    assert effects_in(Grade(clip), lambda _: recipe).are_none
    asked = Grade(clip, look=LookUse("grainy", effects=True))
    assert effects_in(asked, lambda _: recipe).grain is not None
    with pytest.raises(UsageError, match=r"BT\.709 display, but hlg-1000"):
        effects_in(
            Grade(clip, output_transform="hlg-1000", look=LookUse("grainy", effects=True)),
            lambda _: recipe,
        )
