"""Where a look stands in a grade, by the space it is made for.

A look for a log space goes before the output transform, in that space; one for the display signal
goes after it; a conversion from log to the display takes the output transform's place. Strength
mixes each with what would be there without it, in the space it gives.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Final

import numpy as np

from evenhand.colourmath.curves import Array
from evenhand.colourmath.encodings import Encoding, transfer_of
from evenhand.colourmath.primaries import rgb_to_rgb
from evenhand.errors import UsageError
from evenhand.grade.document import LookUse
from evenhand.grade.output_transforms import output_encoding
from evenhand.grade.spaces import DISPLAY, gives_of, is_scene, space_named

if TYPE_CHECKING:
    from evenhand.grade.exact import Look

Stage = Callable[[Array], Array]

_LIGHT_LIMIT: Final = 65504.0  # the largest half float: no picture holds more light


def with_look(render: Stage, look: Look, use: LookUse, output_transform: str) -> list[Stage]:
    """The stages from levelled linear AP1 (n, 3) to display signal, a look among them.

    `render` is the output transform of that name alone. UsageError for a look that was made for
    another display than the output transform's.
    """
    space, gives, output = look.space, gives_of(look), output_encoding(output_transform)
    shown = DISPLAY if output.name == "bt709" else output.name
    if is_scene(space) and gives == space:
        return [_before(look, use), render]
    if is_scene(space) and gives == shown:
        return [_instead(render, look, use)]
    if space == gives == shown:
        return [render, _after(look, use)]
    made_for = f"{space} signal" if gives == space else f"{space} signal and gives {gives}"
    made_for = "the BT.709 display signal" if space == gives == DISPLAY else made_for
    raise UsageError(
        f"look {use.name}",
        f"it is made for {made_for}, but {output_transform} gives {output.name}",
        f"Take a look made for {shown}, one made for a log space, or another output transform",
    )


def _after(look: Look, use: LookUse) -> Stage:
    def stage(signal: Array) -> Array:
        return np.clip(signal + use.strength * (look.apply(signal) - signal), 0.0, 1.0)

    return stage


def _before(look: Look, use: LookUse) -> Stage:
    """A look in a log space: into it, mixed there, and back to linear AP1."""
    space = space_named(look.space)
    back = rgb_to_rgb(space.primaries, "ap1")
    into, transfer = _into(space), transfer_of(space)

    def stage(light: Array) -> Array:
        signal = into(light)
        mixed = signal + use.strength * (look.apply(signal) - signal)
        result: Array = transfer.to_light(mixed, space.range) @ back.T
        return np.clip(result, -_LIGHT_LIMIT, _LIGHT_LIMIT)

    return stage


def _instead(render: Stage, look: Look, use: LookUse) -> Stage:
    """A conversion in the output transform's place; below full strength that shines through."""
    into = _into(space_named(look.space))

    def stage(light: Array) -> Array:
        converted = look.apply(into(light))
        if use.strength < 1.0:
            rendered = render(light)
            converted = rendered + use.strength * (converted - rendered)
        return np.clip(converted, 0.0, 1.0)

    return stage


def _into(space: Encoding) -> Stage:
    """Linear AP1 to signal of a space."""
    transfer, there = transfer_of(space), rgb_to_rgb("ap1", space.primaries)
    return lambda light: transfer.to_signal(light @ there.T, space.range)
