"""The one way in which each figure is written, for terminal, report and page.

A number and its unit stay on one line: there is a no-break space between them, and a minus is a
true one. `plain` is the same text for a terminal, where it is searched for and pasted.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from evenhand.grade.document import White
    from evenhand.measure.decisions import Difference

NBSP: Final = "\u00a0"
_PLAIN: Final = str.maketrans({NBSP: " ", "−": "-", "→": "->"})


def plain(text: str) -> str:
    """Text with the signs that a keyboard has, as `--exposure` takes them."""
    return text.translate(_PLAIN)


def counted(number: int, noun: str) -> str:
    """ "1 clip", "12 clips", "no clips"."""
    return f"{number or 'no'} {noun}{'' if number == 1 else 's'}"


def listed(names: Iterable[object]) -> str:
    """ "a", "a, b"."""
    return ", ".join(str(name) for name in names)


def signed(value: float, digits: int) -> str:
    """A number with its sign, a true minus, and no sign at zero."""
    text = f"{abs(value):.{digits}f}"
    if float(text) == 0.0:
        return text
    return f"{'−' if value < 0 else '+'}{text}"


def stops(value: float) -> str:
    """A correction or a distance in stops, with its sign."""
    return f"{signed(value, 2)}{NBSP}{_stop(value)}"


def size_of_stops(value: float, digits: int = 2) -> str:
    """How many stops, whichever way."""
    return f"{abs(value):.{digits}f}{NBSP}{_stop(value)}"


def _stop(value: float) -> str:
    return "stop" if abs(round(value, 2)) <= 1.0 else "stops"


def mired(value: float, digits: int = 1) -> str:
    """A shift of white in mired, with its sign; positive is warmer."""
    return f"{signed(value, digits)}{NBSP}mired"


def size_of_mired(value: float, digits: int = 1) -> str:
    """How many mired, whichever way."""
    return f"{abs(value):.{digits}f}{NBSP}mired"


def kelvin(value: float) -> str:
    """A colour temperature."""
    return f"{value:.0f}{NBSP}K"


def duv(value: float, digits: int = 4) -> str:
    """A distance from the Planckian locus in CIE 1960 uv; positive is greener."""
    return f"Duv{NBSP}{signed(value, digits)}"


def white(found: White) -> str:
    """A white by its colour temperature and its distance from the locus."""
    return f"{kelvin(found.kelvin)}, {duv(found.duv)}"


def difference(found: Difference | None) -> str:
    """Stops, mired and Duv in a row, each with its sign; a dash where nothing was measured."""
    if found is None:
        return "–"
    return f"{stops(found.stops)}, {mired(found.mired)}, {duv(found.duv)}"


def apart(found: Difference) -> str:
    """A difference said of a clip: "0.65 stop darker, 21.0 mired warmer, Duv 0.0032 greener".

    What is too little to print is left out.
    """
    green = f"Duv{NBSP}{abs(found.duv):.4f} {'greener' if found.duv > 0 else 'more magenta'}"
    parts = [darker(found.stops)] if round(found.stops, 2) else []
    parts += [warmer(found.mired, 1)] if round(found.mired, 1) else []
    parts += [green] if round(found.duv, 4) else []
    return ", ".join(parts) or "no difference that shows"


def darker(value: float) -> str:
    """Stops as a person says them of a picture."""
    return f"{size_of_stops(value)} {'brighter' if value > 0 else 'darker'}"


def warmer(value: float, digits: int = 0) -> str:
    """Mired as a person says them of a white."""
    return f"{size_of_mired(value, digits)} {'warmer' if value > 0 else 'cooler'}"


def percent(share: float, digits: int = 0) -> str:
    """A share 0..1 as a percentage."""
    return f"{100 * share:.{digits}f}{NBSP}%"


def strength(share: float) -> str:
    """How much of a look, 0..1: what a person sets, so with all the digits that were set."""
    return f"{100 * share:.3g}{NBSP}%"


def small_percent(value: float) -> str:
    """Percent (not a share) of a picture; what is too little to print is not called nothing."""
    if value == 0.0:
        return percent(0.0)
    return f"under {percent(0.0001, 2)}" if value < 0.01 else percent(value / 100, 2)


def size(number: int) -> str:
    """Bytes in decimal units, as drives are sold."""
    value, units = float(number), ["bytes", "kB", "MB", "GB", "TB"]
    while value >= 1000.0 and len(units) > 1:
        value /= 1000.0
        units.pop(0)
    figure = f"{value:.0f}" if units[0] == "bytes" or value >= 100.0 else f"{value:.3g}"
    return f"{figure}{NBSP}{units[0]}"


def seconds(value: float) -> str:
    """A time inside a clip, or a duration."""
    if value < 60.0:
        return f"{value:.1f}{NBSP}s"
    minutes, rest = divmod(round(value), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours} h {minutes} min {rest} s" if hours else f"{minutes} min {rest} s"
