"""Which tables a look gives a pack: where each stands in the order of work, and its exact values.

A look stands after the conversion (made for a display), before it (made for a log space), or is one
itself. Beside its own table each look that ends on a BT.709 display gives combined ones: phone log
in, conversion by `aces2-sdr` and look, display signal out, in place of any other conversion.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Final

import numpy as np

from evenhand.colourmath.curves import Array
from evenhand.colourmath.encodings import ENCODINGS
from evenhand.grade.document import Grade, LookUse
from evenhand.grade.exact import Look, exact_transform
from evenhand.grade.spaces import DISPLAY, gives_of, is_display, is_scene

OUTPUT_TRANSFORM: Final = "aces2-sdr"
OWN_SIZE: Final = 33
COMBINED_SIZE: Final = 65
# Chunks that stay in the processor's cache: 5 times as fast as a whole table at once.
_CHUNK: Final = 1 << 14

Transform = Callable[[Array], Array]


@dataclass(frozen=True, slots=True)
class Setting:
    """One place for a table.

    `key` names it in the index, `folder` and `tag` in the pack; `words` say it to a person. `log`
    is the log that a combined table converts, None for a look's own table.
    """

    key: str
    folder: str
    tag: str
    words: str
    expects: str
    gives: str
    log: str | None = None

    @property
    def size(self) -> int:
        """Nodes a side, unless a person says otherwise."""
        return COMBINED_SIZE if is_scene(self.expects) and self.gives == DISPLAY else OWN_SIZE


PHONE_LOGS: Final = (
    Setting(
        "from-phone-log-1",
        "instead-of-the-conversion/from-phone-log-first-generation",
        "from-phone-log-1",
        "from phone log, first generation, to the display",
        "phone-log-1",
        DISPLAY,
        "phone-log-1",
    ),
    Setting(
        "from-phone-log-2",
        "instead-of-the-conversion/from-phone-log-second-generation",
        "from-phone-log-2",
        "from phone log, second generation, to the display",
        "phone-log-2",
        DISPLAY,
        "phone-log-2",
    ),
)


def settings_of(look: Look, strength: float) -> tuple[tuple[Setting, ...], tuple[str, ...]]:
    """The places of a look's tables, and in words what it cannot give."""
    expects, gives = look.space, gives_of(look)
    settings, left_out = [], []
    own = _own(expects, gives)
    if own.key not in {setting.key for setting in PHONE_LOGS}:
        if expects != gives and strength < 1.0:
            left_out.append(
                f"no table from {expects} alone: below 100 % a conversion needs another to mix with"
            )
        else:
            settings.append(own)
    if gives == DISPLAY or is_scene(gives):
        settings += PHONE_LOGS
    else:
        left_out.append(f"no tables from phone log: it gives {gives}, not {DISPLAY}")
    return tuple(settings), tuple(left_out)


def _own(expects: str, gives: str) -> Setting:
    if expects == gives == DISPLAY:
        where = "after-the-conversion"
        return Setting(where, where, "on-display", "on a BT.709 display", expects, gives)
    if expects == gives:
        where = "after-the-conversion" if is_display(expects) else "before-the-conversion"
        folder = f"{where}/on-{expects}"
        return Setting(f"{where}-on-{expects}", folder, f"on-{expects}", f"on {expects} signal",
                       expects, gives)  # fmt: skip
    key = f"from-{expects}" + ("" if gives == DISPLAY else f"-to-{gives}")
    folder = f"instead-of-the-conversion/{key}"
    return Setting(key, folder, key, f"from {expects} to {gives}", expects, gives)


def by_chunks(transform: Transform, signal: Array) -> Array:
    """A transform of (n, 3) in pieces of always the same size, so that it is always the same."""
    out = np.empty(signal.shape)
    for start in range(0, len(signal), _CHUNK):
        out[start : start + _CHUNK] = transform(signal[start : start + _CHUNK])
    return out


def converted(log: str, signal: Array) -> Array:
    """Phone log (n, 3) through the conversion alone, to display signal."""
    return by_chunks(
        exact_transform(Grade(ENCODINGS[log], output_transform=OUTPUT_TRANSFORM)), signal
    )


def mixed(signal: Array, look: Look, strength: float) -> Array:
    """Signal with a look at a strength 0..1, mixed in that signal; at 1 the look bit by bit."""
    looked = look.apply(signal)
    return looked if strength == 1.0 else signal + strength * (looked - signal)


def exact_values(
    look: Look, strength: float, setting: Setting, signal: Array, shown: Array | None = None
) -> Array:
    """What a table of that setting has to give for (n, 3) of the signal that it expects.

    `shown` is `converted(setting.log, signal)` where it is known already.
    """
    if setting.log is None:
        return by_chunks(lambda part: mixed(part, look, strength), signal)
    if look.space == gives_of(look) == DISPLAY:
        base = converted(setting.log, signal) if shown is None else shown
        return by_chunks(lambda part: np.clip(mixed(part, look, strength), 0.0, 1.0), base)
    grade = Grade(
        ENCODINGS[setting.log], output_transform=OUTPUT_TRANSFORM, look=LookUse("look", strength)
    )
    return by_chunks(exact_transform(grade, lambda _use: look), signal)


@cache
def node_signal(size: int) -> Array:
    """The signal of each node, (size³, 3), in the order of a lattice [blue, green, red]."""
    along = np.linspace(0.0, 1.0, size)
    blue, green, red = np.meshgrid(along, along, along, indexing="ij")
    signal = np.stack([red, green, blue], axis=-1).reshape(-1, 3)
    signal.setflags(write=False)
    return signal


class Conversions:
    """The conversion alone at the nodes of each size, worked out once and shared by all looks."""

    def __init__(self) -> None:
        self._nodes: dict[tuple[str, int], Array] = {}

    def at_nodes(self, setting: Setting, size: int) -> Array | None:
        """`converted` at the nodes; None for a setting that converts nothing."""
        if setting.log is None:
            return None
        key = (setting.log, size)
        if key not in self._nodes:
            self._nodes[key] = converted(setting.log, node_signal(size))
        return self._nodes[key]

    def lattice(self, look: Look, strength: float, setting: Setting, size: int) -> Array:
        """A look's table, (size, size, size, 3), [blue, green, red]."""
        shown = self.at_nodes(setting, size)
        values = exact_values(look, strength, setting, node_signal(size), shown)
        return values.reshape(size, size, size, 3)
