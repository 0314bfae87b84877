"""What `level` is told about charts and warmth."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Call = Callable[..., Any]

pytestmark = pytest.mark.media


def test_without_a_chart_nothing_absolute_is_set(call: Call, card: Path, log_clip: Path) -> None:
    """Looked for or not, and whatever warmth is to stay: the only clip is untouched."""
    call("scan", card, "--encoding", "A001=phone-log-1")
    for extra in ((), ("--no-chart",), ("--keep-warmth", "30%")):
        said = call("level", "--json", *extra)
        decision = json.loads(said.out)["decisions"][0]

        assert said.status == 0, said.err
        assert decision["status"] == "reference"
        assert decision["stops"] == 0.0
        assert decision["white"] is None
        assert decision["chart"] is None


@pytest.mark.parametrize("share", ["130%", "-1%", "warm"])
def test_a_share_of_warmth_goes_from_none_to_all(
    share: str, call: Call, card: Path, log_clip: Path
) -> None:
    """Anything else is wrong usage."""
    call("scan", card, "--encoding", "A001=phone-log-1")
    said = call("level", "--keep-warmth", share)

    assert said.status == 2


def test_explain_takes_no_other_option(call: Call, card: Path, log_clip: Path) -> None:
    """It shows what was decided before."""
    call("scan", card, "--encoding", "A001=phone-log-1")

    assert call("level", "--explain", "A001", "--no-chart").status == 2
