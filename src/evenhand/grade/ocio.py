"""The one door to OpenColorIO: its published output transforms, and the look files it reads.

Output transforms and looks are float processors: made once, float32, and safe to use from several
threads at a time.
"""

from __future__ import annotations

import hashlib
import re
import threading
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from typing import Any, Final

import numpy as np
import PyOpenColorIO as ocio
from numpy.typing import NDArray

_TO_ACES = "ACEScg_to_ACES2065-1"
_OUTPUT = "ACES-OUTPUT - ACES2065-1_to_CIE-XYZ-D65 - "
_DISPLAY = "DISPLAY - CIE-XYZ-D65_to_"

# fmt: off
_OUTPUT_TRANSFORMS = {
    "aces1-sdr": (_TO_ACES, _OUTPUT + "SDR-VIDEO_1.0", _DISPLAY + "REC.1886-REC.709"),
    "aces2-sdr": (_TO_ACES, _OUTPUT + "SDR-100nit-REC709_2.0", _DISPLAY + "REC.1886-REC.709"),
    "hlg-1000": (_TO_ACES, _OUTPUT + "HDR-1000nit-REC2020_2.0",
                 _DISPLAY + "REC.2100-HLG-1000nit"),
    "pq-1000": (_TO_ACES, _OUTPUT + "HDR-1000nit-REC2020_2.0", _DISPLAY + "REC.2100-PQ"),
}
# fmt: on

# Loading a file goes through a cache and a log that the whole process shares.
_LOADING: Final = threading.Lock()
_REASON: Final = re.compile(r"failed with:\s*(.*)", re.DOTALL)
_PREFIXES: Final = (
    re.compile(r"Error parsing \S+ file\. Does not appear to contain a valid ASC CDL XML:\s*"),
    re.compile(r"Error parsing .{0,60}?\(the file\)\. Error is:\s*(CTF/CLF parsing error:\s*)?"),
    re.compile(r"Parsing error: 'the file' is "),
)


class CannotLoad(ValueError):
    """OpenColorIO does not take a file; the text is its reason, in one line, without a path."""


@dataclass(frozen=True, slots=True)
class Steps:
    """The steps of a file as one processor, and what OpenColorIO warned of when it read them."""

    processor: Any
    group: Any
    warnings: tuple[str, ...]

    def apply(self, signal: NDArray[np.floating]) -> NDArray[np.float32]:
        """(n, 3) through all steps, float32; may hold infinities and NaN."""
        pixels = np.array(signal, np.float32, order="C")
        self.processor.applyRGB(pixels)
        return pixels

    def cdl(self) -> tuple[list[float], list[float], list[float], float]:
        """Slope, offset, power and saturation of the one CDL that the steps are."""
        (only,) = self.group
        return only.getSlope(), only.getOffset(), only.getPower(), only.getSat()


class _OneFile(ocio.PyConfigIOProxy):  # type: ignore[misc]
    """Hands a file's bytes over in memory: nothing is written, and no path is looked up."""

    def __init__(self, data: bytes) -> None:
        super().__init__()
        self._data = data

    def getConfigData(self) -> str:
        return str(ocio.Config.CreateRaw().serialize())

    def getLutData(self, _name: str) -> Any:
        return ocio.vector_of_uint8_t(self._data)

    def getFastLutFileHash(self, name: str) -> str:
        return name


def load(data: bytes, suffix: str) -> Steps:
    """Read a CLF (`clf`) or a colour correction (`cc`) from its bytes; CannotLoad with the reason.

    The file is named by its content, so that OpenColorIO's cache, which goes by name, cannot answer
    with another one. 3D tables are read by tetrahedra unless the file itself asks for trilinear.
    """
    name = f"{hashlib.sha256(data).hexdigest()}.{suffix}"
    transform = ocio.FileTransform(name, interpolation=ocio.INTERP_TETRAHEDRAL)
    transform.setCDLStyle(ocio.CDL_ASC)
    file = _OneFile(data)  # kept to the end: OpenColorIO does not keep what it calls back
    with _LOADING, _log() as lines:
        try:
            config = ocio.Config.CreateFromConfigIOProxy(file)
            processor = config.getProcessor(transform)
            group = processor.createGroupTransform()
            optimised = processor.getOptimizedCPUProcessor(
                ocio.BIT_DEPTH_F32, ocio.BIT_DEPTH_F32, ocio.OPTIMIZATION_LOSSLESS
            )
        except (ocio.Exception, ocio.ExceptionMissingFile, RuntimeError) as error:
            raise CannotLoad(_one_line(str(error), name)) from error
        finally:
            ocio.ClearAllCaches()
    return Steps(optimised, group, tuple(_one_line(line, name) for line in lines))


@contextmanager
def _log() -> Iterator[list[str]]:
    """What OpenColorIO logs, as lines; a function left in place would hang the process's end."""
    lines: list[str] = []
    level = ocio.GetLoggingLevel()
    ocio.SetLoggingLevel(ocio.LOGGING_LEVEL_WARNING)
    ocio.SetLoggingFunction(lines.append)
    try:
        yield lines
    finally:
        ocio.ResetToDefaultLoggingFunction()
        ocio.SetLoggingLevel(level)


def _one_line(text: str, name: str) -> str:
    reason = _REASON.search(text)
    text = reason[1] if reason else text
    text = " ".join(text.replace(name, "the file").split())
    for prefix in _PREFIXES:
        text = prefix.sub("", text)
    return text[:200].strip(" .:")


def _processor(styles: Iterable[str], *, backwards: bool = False) -> ocio.CPUProcessor:
    way = ocio.TRANSFORM_DIR_INVERSE if backwards else ocio.TRANSFORM_DIR_FORWARD
    group = ocio.GroupTransform([ocio.BuiltinTransform(style) for style in styles])
    # Lossless: the default optimisation trades log and power for fast approximations.
    return (
        ocio.Config.CreateRaw()
        .getProcessor(group, way)
        .getOptimizedCPUProcessor(
            ocio.BIT_DEPTH_F32, ocio.BIT_DEPTH_F32, ocio.OPTIMIZATION_LOSSLESS
        )
    )


@cache
def _output_transform(name: str, *, backwards: bool = False) -> ocio.CPUProcessor:
    return _processor(_OUTPUT_TRANSFORMS[name], backwards=backwards)


def render(name: str, light: NDArray[np.floating]) -> NDArray[np.float32]:
    """Linear AP1 (n, 3), finite, through an ACES output transform to display signal 0..1, float32.

    `name` is "aces2-sdr" or, of ACES 1, "aces1-sdr" (100 cd/m², BT.709, BT.1886), or "hlg-1000" or
    "pq-1000" (1000 cd/m², BT.2020).
    """
    pixels = np.array(light, np.float32, order="C")
    _output_transform(name).applyRGB(pixels)
    return pixels


def unrender(name: str, signal: NDArray[np.floating]) -> NDArray[np.float32]:
    """`render` backwards: display signal (n, 3) in 0..1 to linear AP1, float32.

    There and back is within 5e-6 for nine of ten colours, 5e-3 at the edges of the display.
    """
    pixels = np.array(signal, np.float32, order="C")
    _output_transform(name, backwards=True).applyRGB(pixels)
    return pixels
