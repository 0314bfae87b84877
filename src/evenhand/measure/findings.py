"""What was measured inside one clip, apart from the others."""

from __future__ import annotations

import msgspec

from evenhand.measure.ends import EndsOverTime
from evenhand.measure.mixedlight import MixedLight
from evenhand.measure.scenes import SceneChange
from evenhand.measure.steady.drift import Drift
from evenhand.measure.steady.flicker import Flicker


class Findings(msgspec.Struct, frozen=True, kw_only=True):
    """One clip by itself, as shot.

    `noise` is the standard deviation of an 18 % grey in light, None where nothing flat was seen.
    `mixed` and `change` are two lights in its pictures and a change of scene, where there are any.
    `drift` and `flicker` are what its light does by itself while it runs, None where nobody looked.
    """

    ends: EndsOverTime
    noise: float | None = None
    mixed: MixedLight | None = None
    change: SceneChange | None = None
    monochrome: bool = False
    drift: Drift | None = None
    flicker: Flicker | None = None
