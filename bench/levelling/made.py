"""The simulated camera and the made cases of the tests, for the bench."""

from __future__ import annotations

import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path.append(str(ROOT / "tests" / "measure"))

import drawn_chart  # noqa: E402
import good_pictures  # noqa: E402
import made_cases  # noqa: E402
import made_charts  # noqa: E402
import simulated_camera as camera  # noqa: E402

__all__ = ["ROOT", "camera", "drawn_chart", "good_pictures", "made_cases", "made_charts"]
