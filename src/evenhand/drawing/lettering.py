"""Widths of Helvetica's letters, for words that must fit a place.

From the metrics of the fourteen standard fonts of PDF, which its publisher gives away (Core 14 AFM
files), in 1/1000 of the size. The same widths serve for pictures, whose letters are near to them.
"""

from __future__ import annotations

from typing import Final

_PLAIN: Final = (
    *(278, 278, 355, 556, 556, 889, 667, 191, 333, 333, 389, 584, 278, 333, 278, 278),
    *(556,) * 10,
    *(278, 278, 584, 584, 584, 556, 1015),
    *(667, 667, 722, 722, 667, 611, 778, 722, 278, 500, 667, 556, 833),
    *(722, 778, 667, 778, 722, 667, 611, 722, 667, 944, 667, 667, 611),
    *(278, 278, 278, 469, 556, 333),
    *(556, 556, 500, 556, 556, 278, 556, 556, 222, 222, 500, 222, 833),
    *(556, 556, 556, 556, 333, 500, 278, 556, 500, 722, 500, 500, 500),
    *(334, 260, 334, 584),
)  # the letters 32 to 126
_OTHER: Final = 600  # about the mean of accented capitals
_SLACK: Final = 1.08  # letters of pictures are wider than those of paper by up to that
_BOLD: Final = 1.08  # bold letters are wider by at most that much on the whole


def width(text: str, size: float, bold: bool = False) -> float:
    """Width of a line in the unit of `size`."""
    total = sum(_PLAIN[ord(c) - 32] if 32 <= ord(c) < 127 else _OTHER for c in text)
    return total * size / 1000.0 * (_BOLD if bold else 1.0)


def wrapped(text: str, room: float, size: float) -> list[str]:
    """Lines no wider than `room`, broken between words; a word that is wider stands alone."""
    lines: list[str] = []
    for word in text.split():
        if lines and _SLACK * width(f"{lines[-1]} {word}", size) <= room:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines


def clipped(text: str, room: float, size: float) -> str:
    """The text, or as much of it as fits, with an ellipsis."""
    if _SLACK * width(text, size) <= room:
        return text
    end = len(text)
    while end and _SLACK * width(text[:end] + "…", size) > room:
        end -= 1
    return text[:end].rstrip() + "…"
