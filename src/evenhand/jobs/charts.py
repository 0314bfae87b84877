"""Looking for a 24-patch chart in the frames of a clip."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from evenhand.colourmath.encodings import Encoding
from evenhand.grade.exact import scene_light_image
from evenhand.measure.chart import ChartReading, find_chart, patch_differences
from evenhand.measure.decisions import ChartSample

# Longest side of the frames that are searched. At 640 a chart a tenth as wide as the frame is found
# in every other frame, at 1280 in all of them; full HD finds no more and takes twice as long.
CHART_LONGEST = 1280
ENOUGH = 2  # readings; the better one is taken


def chart_in(
    clip: str,
    signals: Iterable[tuple[float, NDArray[np.float32]]],
    encoding: Encoding,
    clip_level: float,
) -> ChartSample | None:
    """The best reading of a chart in a clip's frames, or None.

    signals: (seconds after the first frame, R'G'B' signal), the longest side CHART_LONGEST;
    clip_level: the signal above which a pixel is clipped.
    """

    def to_light(signal: NDArray[np.float32]) -> NDArray[np.float32]:
        return scene_light_image(np.ascontiguousarray(signal), encoding)

    found: list[tuple[float, ChartReading, tuple[int, int]]] = []
    for time, signal in signals:
        reading = find_chart(signal, to_light, clip_level)
        if reading is not None and reading.accepted:
            found.append((time, reading, (signal.shape[1], signal.shape[0])))
        if len(found) == ENOUGH:
            break
    if not found:
        return None
    time, best, size = min(found, key=lambda f: f[1].stops_error / 0.03 + f[1].mired_error / 3)
    red, green, blue = (float(g) for g in best.gains)
    return ChartSample(
        clip=clip,
        time=time,
        corners=tuple((float(x / size[0]), float(y / size[1])) for x, y in best.corners),
        gains=(red, green, blue),
        stops_error=best.stops_error,
        mired_error=best.mired_error,
        residual=best.residual,
        worst_grey=best.worst_grey,
        patch_difference=float(patch_differences(best.light, best.gains).mean()),
        why=best.why,
    )
