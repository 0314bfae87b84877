"""CLF, the Common LUT Format (Academy S-2014-006): looks read from it, and lattices written as it.

Reading is OpenColorIO's, after `luts.markup` has looked at the file. Its steps work in float32, 3D
tables by tetrahedra unless the file asks for trilinear.
"""

from __future__ import annotations

import re
import uuid
from dataclasses import dataclass
from typing import Final
from xml.sax.saxutils import escape, quoteattr

import numpy as np

from evenhand.colourmath.curves import Array
from evenhand.grade import ocio
from evenhand.grade.spaces import DISPLAY
from evenhand.luts.declared import sentence
from evenhand.luts.errors import LookFileError
from evenhand.luts.markup import MAX_3D, Markup

_LARGEST: Final = 65504.0
_REMEDY: Final = "Export the look again, as CLF or .cube"
_PROBE: Final = 9
_NO_TEXT: Final = re.compile("[\x00-\x1f\x7f\ud800-\udfff\ufffe\uffff]")


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class StepsLook:
    """A look whose steps a CLF lists; `warnings` is what its reader remarked."""

    name: str
    steps: ocio.Steps
    space: str = DISPLAY
    gives: str = DISPLAY
    title: str = ""
    warnings: tuple[str, ...] = ()

    def apply(self, signal: Array) -> Array:
        """Signal (..., 3) to signal of the same shape, by float32; what is no number becomes 0."""
        values = np.asarray(signal, np.float64)
        flat = self.steps.apply(values.reshape(-1, 3)).astype(np.float64)
        out = np.nan_to_num(flat, nan=0.0, posinf=_LARGEST, neginf=-_LARGEST)
        return out.reshape(values.shape)


def from_clf(markup: Markup, name: str) -> StepsLook:
    """The look of a checked CLF; LookFileError with OpenColorIO's reason where it refuses it."""
    steps = load(markup.data, "clf", name)
    along = np.linspace(0.0, 1.0, _PROBE)
    colours = np.stack(np.meshgrid(along, along, along), axis=-1).reshape(-1, 3)
    if not (np.abs(steps.apply(colours)) <= _LARGEST).all():
        found = f"its steps give values that are not finite, or beyond ±{_LARGEST:g}"
        raise LookFileError(name, found, _REMEDY)
    return StepsLook(name=name, steps=steps, title=markup.title, warnings=steps.warnings)


def load(data: bytes, suffix: str, name: str) -> ocio.Steps:
    """`ocio.load` with its refusal as an error for people."""
    try:
        return ocio.load(data, suffix)
    except ocio.CannotLoad as error:
        raise LookFileError(name, f"it is not valid {suffix.upper()}: {error}", _REMEDY) from error


def one_line(text: str) -> str:
    """A text without line ends and without characters that XML cannot hold."""
    return " ".join(_NO_TEXT.sub(" ", text).split())


def to_clf(
    lattice: Array, name: str, space: str = DISPLAY, gives: str = DISPLAY, title: str = ""
) -> bytes:
    """A lattice (n, n, n, 3), [blue, green, red], over 0..1 as a CLF of version 3 with one LUT3D.

    Seven decimals; the id is made from the content, so that the same lattice and names are the same
    bytes. Raises ValueError for a lattice that cannot be read back.
    """
    size = lattice.shape[0]
    if lattice.shape != (size, size, size, 3) or not 2 <= size <= MAX_3D:
        raise ValueError(f"a lattice is (N, N, N, 3), N 2 to {MAX_3D}, not {lattice.shape}")
    if not (np.abs(lattice) <= _LARGEST).all():
        raise ValueError(f"the lattice holds values that are not finite or beyond ±{_LARGEST:g}")
    # CLF runs blue fastest. Adding zero turns -0.0 into 0.0.
    rows = np.round(lattice.transpose(2, 1, 0, 3).reshape(-1, 3), 7) + 0.0
    table = ("%.7f %.7f %.7f\n" * len(rows)) % tuple(rows.ravel().tolist())
    body = (
        f"    <Description>{escape(sentence(space, gives))}</Description>\n"
        f"    <InputDescriptor>{escape(space)}</InputDescriptor>\n"
        f"    <OutputDescriptor>{escape(gives)}</OutputDescriptor>\n"
        '    <LUT3D inBitDepth="32f" outBitDepth="32f" interpolation="tetrahedral">\n'
        f'        <Array dim="{size} {size} {size} 3">\n{table}        </Array>\n'
        "    </LUT3D>\n"
    )
    label = quoteattr(one_line(title or name))
    digest = uuid.uuid5(uuid.NAMESPACE_OID, f"{label}\n{body}")
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<ProcessList id="urn:uuid:{digest}" name={label} '
        f'compCLFversion="3.0">\n{body}</ProcessList>\n'
    ).encode()
