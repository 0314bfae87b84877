"""What could be done for a clip without a common view: a white to try, with an honest error.

The white is where the clip's colours, spread as log2(R/G) and log2(B/G), fit those of the
reference best. Measured on views without overlap it errs by 7 mired in the middle and 33 in one
case of ten, so only part of it is proposed. No way was found to propose an exposure: the same
trials erred by 0.5 stop in the middle and 1.6 in one of ten; what the tones say is told alone.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from evenhand.measure import ratios
from evenhand.measure.clipview import ClipView, summary_of
from evenhand.measure.colours import ColourLikeness, brightness_shift, colour_likeness
from evenhand.measure.decisions import Proposal
from evenhand.reasons import because

STRENGTH, MOST_MIRED = 0.6, 25.0
LEAST_MIRED = 3.0  # smaller proposals are not worth a person's time
STOPS_ERROR, STOPS_WORST = 0.5, 1.6  # of an exposure by the tones, in the same trials
# Typical and one-in-ten error of the full shift by the height of the correlation's peak.
ERRORS = ((0.90, 4.6, 16.0), (0.80, 7.4, 33.0), (0.0, 7.7, 107.0))


def propose(
    reference: ClipView, clip: ClipView, reference_fault: NDArray[np.float64]
) -> Proposal | None:
    """A white for `clip` by the colours of `reference`, or None where there is none to propose.

    reference_fault: log2 cone gains that the reference is itself corrected by.
    """
    theirs, own = summary_of(reference), summary_of(clip)
    if theirs.colours is None or own.colours is None:
        return None
    found = colour_likeness(theirs.colours, own.colours)
    gains = _part(found) + reference_fault
    if ratios.mired_size(gains - ratios.stops_of(gains)) < LEAST_MIRED:
        return None
    typical, worst = next((t, w) for least, t, w in ERRORS if found.shifted >= least)
    brighter = brightness_shift(theirs.tones, own.tones)
    return Proposal(
        white=ratios.white_of(gains),
        mired_error=typical,
        mired_worst=worst,
        exposure=(
            because(
                "proposal.tones",
                clip=reference.id,
                stops=brighter,
                half_within=STOPS_ERROR,
                tenth_over=STOPS_WORST,
            ),
        ),
        why=(
            because(
                "proposal.colours-fit",
                clip=reference.id,
                mired=found.shift.mired,
                shifted=found.shifted,
                as_shot=found.as_shot,
                share=STRENGTH,
            ),
        ),
    )


def _part(found: ColourLikeness) -> NDArray[np.float64]:
    """The cone gains of the part of the shift that is proposed."""
    gains = ratios.gains_of(np.exp2(np.asarray(found.log_ratio)))
    gains = gains - ratios.stops_of(gains)
    size = ratios.mired_size(gains)
    return gains * (min(STRENGTH, MOST_MIRED / size) if size > 0 else 0.0)
