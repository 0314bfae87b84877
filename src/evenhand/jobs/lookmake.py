"""Making a look: from a document, from a frame before and after, or towards a reference still."""

from __future__ import annotations

from pathlib import Path

import msgspec
import numpy as np

from evenhand.atomic import write_whole
from evenhand.errors import UsageError
from evenhand.grade.fitting import Fit, Residual, fit_pair
from evenhand.grade.palette import distance, palette_of, towards
from evenhand.grade.recipe import DISPLAY, Recipe, checked, digest, written
from evenhand.grade.tables import TableLook
from evenhand.jobs.looks import read_recipe
from evenhand.luts import cube
from evenhand.luts.cube import CubeFile
from evenhand.luts.declared import sentence
from evenhand.luts.tables import Table3D
from evenhand.measure.beforeafter import laid_together
from evenhand.measure.looks.health import Health, health_of_look
from evenhand.media.picturefile import read_picture
from evenhand.media.target import check_target


class Gap(msgspec.Struct, frozen=True):
    """One thing in which a picture and a reference still differ, before and after the look."""

    of: str
    before: float
    after: float


class MadeLook(msgspec.Struct, frozen=True, kw_only=True):
    """A look that was made, where it lies, and how good it is.

    `kind` is "moves" (a document that can be edited) or "table". `residual`, `seen` (share of the
    cube with evidence) and `moved` (pixels by which the picture after was shifted) come with a
    pair, `mix` with a black-and-white pair, `gaps` with a reference still. `digest` is of a
    document, empty for a table. `warnings` are for people.
    """

    name: str
    title: str
    purpose: str
    space: str
    kind: str
    path: str
    moves: tuple[str, ...]
    effects: tuple[str, ...] = ()
    digest: str = ""
    residual: Residual | None = None
    seen: float | None = None
    moved: float | None = None
    mix: tuple[float, float, float] | None = None
    gaps: tuple[Gap, ...] = ()
    warnings: tuple[str, ...] = ()
    health: Health


# CIEDE2000 of half the colours: a look leaves less, other changes to a picture more.
_POOR_FIT = 3.0
_LITTLE_SEEN = 0.05


def make_from_document(source: Path, to: Path, *, overwrite: bool = False) -> MadeLook:
    """Check a look document and write it in canonical form as `to` (.toml).

    Raises RecipeError with the line or key, TargetError where the place cannot take it.
    """
    recipe, _ = read_recipe(source)
    _write(to, ".toml", written(recipe).encode(), overwrite)
    return _made(recipe, to)


def make_from_pair(
    before: Path, after: Path, name: str, to: Path, *, overwrite: bool = False
) -> MadeLook:
    """Fit a look to two stills of one frame, before and after it, and write it as `to` (.cube, 33).

    Raises UsageError for files that are no pictures, PairError where they do not show the same
    frame, FitError where they hold too few colours.
    """
    checked(Recipe(name=name, title=name, purpose="A name that is tried."))
    check_target(to, overwrite=overwrite)
    pair = laid_together(read_picture(before), read_picture(after))
    fit = fit_pair(pair.before, pair.after, pair.trust)
    title = name.replace("-", " ").capitalize()
    table = Table3D(fit.lattice)
    comments = (sentence(DISPLAY, DISPLAY), "read tetrahedrally", *_words(fit))
    data = cube.write(CubeFile(three=table, title=title, comments=comments))
    _write(to, ".cube", data, overwrite)
    look = TableLook(name=name, title=title, three=table)
    return MadeLook(
        name=name,
        title=title,
        purpose=f"Fitted to {before.name} and {after.name}.",
        space=DISPLAY,
        kind="table",
        path=str(to),
        moves=_words(fit),
        residual=fit.residual,
        seen=fit.seen,
        moved=pair.moved,
        mix=fit.mix,
        warnings=_pair_warnings(fit),
        health=health_of_look(look),
    )


def make_from_still(
    picture: Path, reference: Path, name: str, to: Path, *, overwrite: bool = False
) -> MadeLook:
    """Write a recipe (.toml) that goes half of the way from a picture to a reference still.

    Raises UsageError for files that are no pictures, RecipeError for a name that cannot be.
    """
    check_target(to, overwrite=overwrite)
    signal = read_picture(picture)[::2, ::2].astype(np.float64)
    start = palette_of(signal)
    goal = palette_of(read_picture(reference)[::2, ::2].astype(np.float64))
    title = name.replace("-", " ").capitalize()
    recipe = towards(start, goal, name, title)
    _write(to, ".toml", written(recipe).encode(), overwrite)
    first, last = distance(start, goal), distance(palette_of(recipe.apply(signal)), goal)
    gaps = tuple(Gap(key, value, last.get(key, 0.0)) for key, value in first.items())
    return msgspec.structs.replace(_made(recipe, to), gaps=gaps)


def _made(recipe: Recipe, to: Path) -> MadeLook:
    return MadeLook(
        name=recipe.name,
        title=recipe.title,
        purpose=recipe.purpose,
        space=recipe.space,
        kind="moves",
        path=str(to),
        moves=recipe.moves,
        effects=recipe.effects.words,
        digest=digest(recipe),
        health=health_of_look(recipe),
    )


def _write(to: Path, suffix: str, content: bytes, overwrite: bool) -> None:
    if to.suffix.lower() != suffix:
        raise UsageError(to, f"this look is written as {suffix}", f"End the name with {suffix}")
    check_target(to, overwrite=overwrite, needs=len(content))
    write_whole(to, content)


def _words(fit: Fit) -> tuple[str, ...]:
    """What a fitted look does, in words and numbers."""
    tones = fit.tone(np.array([0.0, 0.25, 0.5, 0.75, 1.0]))
    said = [
        "tone: signal 0, 25, 50, 75, 100 % to " + ", ".join(f"{value:.1%}" for value in tones),
        f"fitted to {fit.cells} colours, {fit.seen:.0%} of the cube; tone alone far from them",
        f"off by CIEDE2000 {fit.residual.median:.2f} (half of the colours), "
        f"{fit.residual.p95:.2f} (95 %)",
    ]
    if fit.mix is not None:
        red, green, blue = fit.mix
        said.insert(0, f"grey from {red:.0%} red, {green:.0%} green, {blue:.0%} blue light")
    return tuple(said)


def _pair_warnings(fit: Fit) -> tuple[str, ...]:
    warnings = []
    if fit.residual.median > _POOR_FIT:
        warnings.append(
            f"half of the colours are off by {fit.residual.median:.1f} CIEDE2000 or more: between "
            "these pictures there is more than a look (grain, glow, a mask, another exposure of "
            "one part)"
        )
    if fit.seen < _LITTLE_SEEN:
        warnings.append(
            f"the pictures hold {fit.seen:.1%} of the colours there are: fit to a frame with more"
        )
    return tuple(warnings)
