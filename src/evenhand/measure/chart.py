"""A 24-patch chart in a frame: where it is, what light its patches send, and whether it is one.

OpenCV's detector says where a chart may be. The place is made exact by laying the known pattern on
the picture (enhanced correlation, Evangelidis and Psarakis 2008, doi:10.1109/TPAMI.2008.113), and
the colours decide whether it is a chart: the detector alone errs on one frame in ten.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, Final

import cv2
import numpy as np
from numpy.typing import NDArray

from evenhand.colourmath.adaptation import D65, adaptation_matrix
from evenhand.colourmath.difference import ciede2000, xyz_to_lab
from evenhand.colourmath.primaries import rgb_to_xyz
from evenhand.measure import ratios
from evenhand.measure.views import CLIP_MARGIN
from evenhand.reasons import Reason, Why, because

Floats = NDArray[np.float64]
Image = NDArray[np.float32]
ToLight = Callable[[Image], NDArray[np.floating]]

# fmt: off
# The 24-patch chart as made after November 2014: CIE xyY, 2° observer, under the D50 of ICC
# profiles. Source: the data of colour-science 0.4 (BSD-3), which cites the maker's measurements.
_WHITE: Final = (0.34570291, 0.3585386)
_XYY: Final = np.array([
    (0.43748, 0.37852, 0.09832), (0.42225, 0.37249, 0.33620), (0.27615, 0.29838, 0.17855),
    (0.37332, 0.45117, 0.13468), (0.30289, 0.28629, 0.22872), (0.28640, 0.38972, 0.41436),
    (0.52815, 0.40533, 0.31264), (0.23239, 0.21120, 0.10911), (0.50445, 0.32706, 0.18900),
    (0.33347, 0.25055, 0.06277), (0.39889, 0.50415, 0.43318), (0.49358, 0.44428, 0.42934),
    (0.20522, 0.16867, 0.05596), (0.32304, 0.51042, 0.22334), (0.56287, 0.33556, 0.12780),
    (0.46776, 0.47602, 0.59930), (0.42131, 0.26692, 0.18951), (0.20913, 0.30266, 0.18061),
    (0.34891, 0.36421, 0.88069), (0.34558, 0.35988, 0.58997), (0.34415, 0.35919, 0.36487),
    (0.34577, 0.35909, 0.19062), (0.34265, 0.35758, 0.08817), (0.34377, 0.35606, 0.03151),
])
# fmt: on
COLUMNS, ROWS = 6, 4
GREYS: Final = slice(19, 23)  # patches 20 to 23: the white may clip, the black is mostly flare

LEAST_PATCH = 5.0  # pixels; the side of a patch under which edges reach its middle
LIMIT_MEDIAN, LIMIT_GREY = 0.30, 0.40  # stops; false hits lie above 1.1 and 1.6, charts under 0.1
LEAST_COLOURS = 0.85  # correlation of log2(R/G) and log2(B/G) of the coloured patches
LEAST_PATTERN = 0.88  # correlation of the picture with the pattern
MIDDLE = 0.4  # of a patch's side that is measured
CELL, MARGIN = 16, 1  # pixels and cells of the raster that the pattern is laid on
GAP, FRAME_LIGHT = 0.09, 0.03  # of a cell between patch and its edge; light of the chart's frame
TRIED = 3  # places of the detector that are looked at
LEAST_STOPS_ERROR, LEAST_MIRED_ERROR = 0.01, 0.7


def published_light() -> Floats:
    """The patches (24, 3) in linear BT.2020 under D65, adapted from D50 by CAT16; white is 1."""
    x, y, luminance = _XYY.T
    xyz = np.stack([x / y, np.ones_like(y), (1 - x - y) / y], axis=1) * luminance[:, None]
    adapted = xyz @ adaptation_matrix(_WHITE, D65, "cat16").T
    light: Floats = adapted @ np.linalg.inv(rgb_to_xyz("bt2020")).T
    return light


_PUBLISHED: Final = np.maximum(published_light(), 1e-3)


@dataclass(frozen=True, slots=True)
class ChartReading:
    """A chart in a frame, read.

    corners: (4, 2) pixels of its patches' outer corners, from the dark skin patch clockwise. light:
    (24, 3) linear BT.2020 of the patches as shot. gains: log2 CAT16 cone gains that the light and
    the camera together make of the published greys. residual: median over patches and channels of
    |log2(patch / published)| less that of the greys; worst_grey: the largest of the greys alone;
    both in stops. pattern and colours: correlations with the published chart, of the picture of its
    green light and of its patches' channel ratios. Errors are one standard error, from how the
    four greys agree. `why` says what it was taken or refused by.
    """

    corners: Floats
    light: Floats
    gains: Floats
    residual: float
    worst_grey: float
    pattern: float
    colours: float
    stops_error: float
    mired_error: float
    accepted: bool
    why: Why


@dataclass(frozen=True, slots=True)
class _Search:
    """How the detector looks: how large the frame's short side is made, and its windows."""

    least: int
    windows: tuple[int, int, int]
    solidity: float


# The first takes 25 ms and finds most charts; the second finds the small and the slanted ones.
_SEARCHES: Final = (_Search(0, (15, 75, 20), 0.8), _Search(1000, (11, 107, 16), 0.9))


def find_chart(signal: Image, to_light: ToLight, clip_level: float = 1.0) -> ChartReading | None:
    """The chart in a frame, or None where no place looks like one.

    signal: (h, w, 3), 0..1; the longest side about 1280 pixels, the chart a tenth of it or more.
    to_light: the signal of a picture to its linear BT.2020 light. clip_level: the signal above
    which a pixel is clipped. A reading that is not accepted is given back too, for its reason; it
    may not be used.
    """
    best: ChartReading | None = None
    shown = _shown(signal, to_light)
    for search in _SEARCHES:
        for corners in _places(shown, search):
            for start in _starts(corners):
                reading = _read(signal, to_light, clip_level, start)
                if reading is None:
                    continue
                if reading.accepted:
                    return reading
                if best is None or reading.residual < best.residual:
                    best = reading
    return best


def _shown(signal: Image, to_light: ToLight) -> NDArray[np.uint8]:
    """The frame as a screen would show it, 8 bits BGR: what the detector was made for."""
    ramp = np.repeat(np.linspace(0, 1, 256, dtype=np.float32)[None, :, None], 3, axis=2)
    light = np.maximum(np.asarray(to_light(ramp))[0, :, 1], 0)
    coded = cv2.convertScaleAbs(signal, alpha=255.0)
    top = light[int(np.percentile(coded[::4, ::4].max(axis=-1), 98))]
    curve = np.clip(light / max(float(top), 0.02), 0, 1) ** (1 / 2.2) * 255
    shown = cv2.LUT(coded, np.round(curve).astype(np.uint8))
    return np.ascontiguousarray(shown[..., ::-1], dtype=np.uint8)


def _places(shown: NDArray[np.uint8], search: _Search) -> Iterator[Floats]:
    """Where OpenCV's detector sees a chart, best first: four corners (4, 2) each."""
    height, width = shown.shape[:2]
    scale = max(1.0, search.least / min(height, width))
    if scale > 1.0:
        shown = np.asarray(
            cv2.resize(shown, None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC), np.uint8
        )
    wanted = cv2.mcc.DetectorParametersMCC()
    wanted.minImageSize = min(shown.shape[:2])  # it would enlarge the frame to 1000 pixels
    wanted.minContoursAreaRate = 1e-4
    wanted.minContoursArea = 40.0
    wanted.minContourLengthAllowed = 30
    wanted.minContourSolidity = search.solidity
    wanted.adaptiveThreshWinSizeMin = search.windows[0]
    wanted.adaptiveThreshWinSizeMax = search.windows[1]
    wanted.adaptiveThreshWinSizeStep = search.windows[2]
    detector = cv2.mcc.CCheckerDetector.create()
    detector.setColorChartType(cv2.mcc.MCC24)
    detector.setDetectionParams(wanted)
    cv2.setRNGSeed(1)  # its clustering draws; the same frame gives the same answer
    if not detector.process(shown, TRIED):
        return
    for found in _charts(detector)[:TRIED]:
        corners = np.asarray(found.getBox(), np.float64).reshape(4, 2) / scale
        if np.isfinite(corners).all():
            yield np.clip(corners, [-0.1 * width, -0.1 * height], [1.1 * width, 1.1 * height])


def _charts(detector: Any) -> list[Any]:
    """The charts that a detector has found: what its one method that lists them gives."""
    [method] = [name for name in dir(detector) if name.startswith("getList")]
    found: list[Any] = list(getattr(detector, method)())
    return found


def _starts(corners: Floats) -> Iterator[Floats]:
    """The detector's corners, then its upright rectangle, whichever way round it lies."""
    yield corners
    around = cv2.boxPoints(cv2.minAreaRect(corners.astype(np.float32))).astype(np.float64)
    side = np.linalg.norm(around[0] - around[1]), np.linalg.norm(around[1] - around[2])
    if side[0] < side[1]:
        around = np.roll(around, -1, axis=0)
    yield np.roll(around, 2, axis=0)
    yield around


def _read(
    signal: Image, to_light: ToLight, clip_level: float, corners: Floats
) -> ChartReading | None:
    """Lays the pattern on the picture from a start, and reads the patches there."""
    grid = np.array([[0, 0], [COLUMNS, 0], [COLUMNS, ROWS], [0, ROWS]], np.float32)
    if abs(cv2.contourArea(corners.astype(np.float32))) < COLUMNS * ROWS * LEAST_PATCH:
        return None
    start = np.asarray(cv2.getPerspectiveTransform(grid, corners.astype(np.float32)), np.float64)
    laid = _lay(signal, to_light, start)
    if laid is None:
        return None
    place, pattern = laid
    exact = cv2.perspectiveTransform(grid[None], place)[0].astype(np.float64)
    if not _plausible(exact, signal.shape[1], signal.shape[0]):
        return None
    patches, clipped = _patches(signal, to_light, clip_level, place)
    return _judged(exact, patches, clipped, pattern)


def _lay(signal: Image, to_light: ToLight, start: Floats) -> tuple[Floats, float] | None:
    """The homography from cells to pixels at which the pattern correlates best, and how well."""
    size = ((COLUMNS + 2 * MARGIN) * CELL, (ROWS + 2 * MARGIN) * CELL)
    to_cells = np.array([[1 / CELL, 0, -MARGIN], [0, 1 / CELL, -MARGIN], [0, 0, 1.0]])
    seen = _warped(signal, start @ to_cells, size)
    logs = np.log2(np.maximum(np.asarray(to_light(seen))[..., 1], 0.002)).astype(np.float32)
    warp = np.array([[1, 0, MARGIN * CELL], [0, 1, MARGIN * CELL], [0, 0, 1]], np.float32)
    both = cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT
    chart = _pattern()
    everywhere = np.full(logs.shape, 255, np.uint8)
    pattern = 1.0
    try:
        for blur, rounds, least in ((9, 30, 0.0), (3, 50, 0.5)):
            if pattern < least:
                return None
            pattern, warp = cv2.findTransformECC(  # type: ignore[assignment]
                chart, logs, warp, cv2.MOTION_HOMOGRAPHY, (both, rounds, 1e-4), everywhere, blur
            )
    except cv2.error:  # it says so in this way where the pattern finds no hold
        return None
    from_cells = np.diag([CELL, CELL, 1.0])
    return start @ to_cells @ warp.astype(np.float64) @ from_cells, float(pattern)


def _pattern() -> Image:
    """log2 of the chart's green light, a raster of CELL pixels a patch."""
    chart = np.full((ROWS * CELL, COLUMNS * CELL), FRAME_LIGHT, np.float32)
    gap = round(GAP * CELL)
    for number, light in enumerate(_PUBLISHED[:, 1]):
        row, column = divmod(number, COLUMNS)
        top, left = row * CELL, column * CELL
        chart[top + gap : top + CELL - gap, left + gap : left + CELL - gap] = light
    return np.asarray(np.log2(chart), np.float32)


def _warped(signal: Image, place: Floats, size: tuple[int, int]) -> Image:
    """The picture under a raster; `place` leads from pixels of the raster to the picture's."""
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    seen = cv2.warpPerspective(signal, place, size, flags=flags, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(seen, np.float32)


def _plausible(corners: Floats, width: int, height: int) -> bool:
    """Whether the corners are a convex picture of a chart inside the frame, and large enough."""
    if (corners < -2).any() or (corners > [width + 1, height + 1]).any():
        return False
    sides = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
    small = min(sides[0], sides[2]) / COLUMNS, min(sides[1], sides[3]) / ROWS
    turn = np.roll(corners, -1, axis=0) - corners
    after = np.roll(turn, -1, axis=0)
    convex = (turn[:, 0] * after[:, 1] - turn[:, 1] * after[:, 0] > 0).all()
    return bool(convex and min(small) >= LEAST_PATCH)


def _patches(
    signal: Image, to_light: ToLight, clip_level: float, place: Floats
) -> tuple[Floats, NDArray[np.bool_]]:
    """Median light (24, 3) of the middle of each patch, and which patches are clipped."""
    grid = np.array([[[0, 0], [COLUMNS, 0], [COLUMNS, ROWS], [0, ROWS]]], np.float32)
    area = cv2.contourArea(cv2.perspectiveTransform(grid, place)[0]) / (COLUMNS * ROWS)
    cell = int(np.clip(round(float(np.sqrt(area))), CELL, 4 * CELL))  # as fine as the picture is
    shrink = np.diag([1 / cell, 1 / cell, 1.0])
    seen = _warped(signal, place @ shrink, (COLUMNS * cell, ROWS * cell))
    light = np.asarray(to_light(seen), np.float64)
    edge = round((1 - MIDDLE) / 2 * cell)
    whole = (ROWS, cell, COLUMNS, cell, 3)
    middle = slice(edge, cell - edge)
    cells = light.reshape(whole)[:, middle, :, middle].transpose(0, 2, 1, 3, 4)
    codes = seen.reshape(whole)[:, middle, :, middle].max(axis=(1, 3, 4))
    patches = np.median(cells.reshape(ROWS * COLUMNS, -1, 3), axis=1)
    return patches, (codes >= clip_level - CLIP_MARGIN).reshape(-1)


def _judged(
    corners: Floats, patches: Floats, clipped: NDArray[np.bool_], pattern: float
) -> ChartReading:
    """The reading, and whether it is a chart."""
    logs = np.log2(np.maximum(patches, 1e-5) / _PUBLISHED)
    usable = np.flatnonzero(~clipped[GREYS]) + GREYS.start
    greys = usable if len(usable) >= 3 else np.arange(GREYS.start, GREYS.stop)
    logs = logs - np.median(logs[greys], axis=0)
    residual = float(np.median(np.abs(logs[~clipped])) if (~clipped).any() else np.inf)
    worst_grey = float(np.abs(logs[greys]).max())
    each = np.array([ratios.gains_of(patches[g]) - ratios.gains_of(_PUBLISHED[g]) for g in greys])
    gains = np.median(each, axis=0)
    stops_error, mired_error = _errors(each, gains)
    colours = _colours(patches)
    refused = _refusal(residual, worst_grey, pattern, colours, len(usable))
    agree = because("chart.patches-agree", residual=residual, worst_grey=worst_grey)
    return ChartReading(
        corners=corners,
        light=patches,
        gains=gains,
        residual=residual,
        worst_grey=worst_grey,
        pattern=pattern,
        colours=colours,
        stops_error=stops_error,
        mired_error=mired_error,
        accepted=refused is None,
        why=(refused or agree,),
    )


def _colours(patches: Floats) -> float:
    """How the channel ratios of the 18 coloured patches correlate with the published ones."""
    seen, known = (np.log2(np.maximum(x[:18], 1e-5)) for x in (patches, _PUBLISHED))
    pairs = [(seen[:, c] - seen[:, 1], known[:, c] - known[:, 1]) for c in (0, 2)]
    if any(np.ptp(a) < 1e-9 for a, _ in pairs):
        return 0.0
    return float(min(np.corrcoef(a, b)[0, 1] for a, b in pairs))


def _refusal(
    residual: float, worst_grey: float, pattern: float, colours: float, usable: int
) -> Reason | None:
    if pattern < LEAST_PATTERN:
        return because("chart.no-pattern", correlation=pattern)
    if colours < LEAST_COLOURS:
        return because("chart.other-colours", correlation=colours)
    if residual > LIMIT_MEDIAN or worst_grey > LIMIT_GREY:
        return because(
            "chart.patches-differ",
            residual=residual,
            limit=LIMIT_MEDIAN,
            worst_grey=worst_grey,
            grey_limit=LIMIT_GREY,
        )
    return because("chart.greys-clipped") if usable < 3 else None


def _errors(each: Floats, gains: Floats) -> tuple[float, float]:
    """Standard errors in stops and mired, from how the greys scatter about their median."""
    off = [ratios.difference_of(g) for g in each - gains]
    root = np.sqrt(max(len(each) - 1, 1))
    stops = float(np.sqrt(np.mean([d.stops**2 for d in off])) / root)
    mired = float(np.sqrt(np.mean([d.mired**2 for d in off])) / root)
    return max(stops, LEAST_STOPS_ERROR), max(mired, LEAST_MIRED_ERROR)


def patch_differences(light: Floats, gains: Floats) -> Floats:
    """CIEDE2000 (24,) of patches from the published ones, once the gains are taken off them.

    light: (24, 3) linear BT.2020; gains: log2 CAT16 cone gains, as of a ChartReading.
    """
    levelled = np.asarray(light, np.float64) @ ratios.matrix_of(-gains).T
    first, second = (xyz_to_lab(ratios.xyz_of(x)) for x in (levelled, published_light()))
    found: Floats = ciede2000(first, second)
    return found
