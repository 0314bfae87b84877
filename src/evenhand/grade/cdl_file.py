"""ASC CDL files (.cc, .ccc, .cdl; version 1.2): looks read from them and written as them.

A correction is read by OpenColorIO, after `luts.markup` has looked at the file, and worked out
here in float64. On a display signal it is the standard's form, which clamps to 0..1; in a log space
it does not clamp (see `colourmath.cdl`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal
from xml.sax.saxutils import escape, quoteattr

import numpy as np

from evenhand.colourmath.cdl import apply_cdl
from evenhand.colourmath.curves import Array
from evenhand.grade.clf import load, one_line
from evenhand.grade.document import Cdl
from evenhand.grade.spaces import DISPLAY, is_display
from evenhand.luts.declared import sentence
from evenhand.luts.errors import LookFileError
from evenhand.luts.markup import Markup

CdlKind = Literal["cc", "ccc", "cdl"]

_NAMESPACE: Final = "urn:ASC:CDL:v1.2"
_SHOWN: Final = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class CdlLook:
    """A look that is one colour correction."""

    name: str
    cdl: Cdl
    space: str = DISPLAY
    gives: str = DISPLAY
    title: str = ""

    def apply(self, signal: Array) -> Array:
        """Signal (..., 3) to signal of the same shape, float64."""
        return apply_cdl(signal, self.cdl, clamp=is_display(self.space))


def from_corrections(markup: Markup, name: str, correction: str | None = None) -> CdlLook:
    """The look of a checked file; of several corrections the one whose id is `correction`.

    LookFileError where there is none of that id, or several and none is named.
    """
    begin, end, label = _chosen(markup, name, correction)
    slope, offset, power, saturation = load(markup.data[begin:end], "cc", name).cdl()
    cdl = Cdl(_triple(slope), _triple(offset), _triple(power), saturation)
    return CdlLook(name=name, cdl=cdl, title=label)


def _chosen(markup: Markup, name: str, correction: str | None) -> tuple[int, int, str]:
    ids = [label for label, _, _ in markup.corrections]
    if not ids:
        raise LookFileError(name, "it holds no ColorCorrection", "Export the correction again")
    if correction is None and len(ids) == 1:
        at = 0
    elif correction is not None and ids.count(correction) == 1:
        at = ids.index(correction)
    else:
        shown = ", ".join(ids[:_SHOWN]) + (", …" if len(ids) > _SHOWN else "")
        found = f"it holds {len(ids)} corrections"
        if correction is not None:
            found += f", and {ids.count(correction)} with the id {correction!r}"
        raise LookFileError(name, found, f"Name one of these ids: {shown}")
    label, begin, end = markup.corrections[at]
    return begin, end, label


def _triple(values: Sequence[float]) -> tuple[float, float, float]:
    red, green, blue = values
    return red, green, blue


def to_cdl(
    corrections: Sequence[tuple[str, Cdl]],
    kind: CdlKind = "cc",
    space: str = DISPLAY,
    gives: str = DISPLAY,
) -> bytes:
    """Corrections with their ids as a file: `cc` holds one, `ccc` and `cdl` any number.

    Ten digits; the same corrections are the same bytes. ValueError for a `cc` of more than one.
    """
    if kind == "cc" and len(corrections) != 1:
        raise ValueError(f"a .cc holds one correction, not {len(corrections)}")
    root = {"cc": "", "ccc": "ColorCorrectionCollection", "cdl": "ColorDecisionList"}[kind]
    lines = ['<?xml version="1.0" encoding="UTF-8"?>']
    if root:
        lines.append(f'<{root} xmlns="{_NAMESPACE}">')
    for label, cdl in corrections:
        inner = _correction(label, cdl, sentence(space, gives), is_root=not root)
        if kind == "cdl":
            inner = ["<ColorDecision>", *("    " + line for line in inner), "</ColorDecision>"]
        lines += [("    " if root else "") + line for line in inner]
    if root:
        lines.append(f"</{root}>")
    return ("\n".join(lines) + "\n").encode()


def _correction(label: str, cdl: Cdl, says: str, *, is_root: bool) -> list[str]:
    space = f' xmlns="{_NAMESPACE}"' if is_root else ""
    rows = {"Slope": cdl.slope, "Offset": cdl.offset, "Power": cdl.power}
    values = {
        key: " ".join(f"{np.float64(v) + 0.0:.10g}" for v in row) for key, row in rows.items()
    }
    return [
        f"<ColorCorrection id={quoteattr(one_line(label))}{space}>",
        f"    <Description>{escape(says)}</Description>",
        "    <SOPNode>",
        *(f"        <{key}>{value}</{key}>" for key, value in values.items()),
        "    </SOPNode>",
        "    <SATNode>",
        f"        <Saturation>{cdl.saturation:.10g}</Saturation>",
        "    </SATNode>",
        "</ColorCorrection>",
    ]
