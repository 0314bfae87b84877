"""Figures and verdicts read as they should."""

from __future__ import annotations

import pytest

from evenhand.drawing import words
from evenhand.drawing.model import (
    ClipReport,
    Identification,
    MasterCheck,
    MasterFile,
    PlaceReport,
    ReportModel,
    UnreadableFile,
)
from evenhand.drawing.worst import Worst
from evenhand.measure.decisions import LevelDecision


def plain(text: str) -> str:
    return text.replace("\u00a0", " ")


@pytest.mark.parametrize(
    ("got", "wanted"),
    [
        (words.from_to(Worst(2.05, 0.004), 2, "stops"), "2.05 → 0.004 stops"),
        (words.from_to(Worst(0.3, None), 2, "stops"), "0.30 stops"),
        (words.from_to(Worst(None, None), 2, "stops"), "not measured"),
    ],
)
def test_the_worst_is_told_before_and_after(got: str, wanted: str) -> None:
    """A small figure gets one more digit."""
    assert plain(got) == wanted


def clip(name: str, sure: bool = True, verdict: str | None = None) -> ClipReport:
    masters = ()
    if verdict:
        masters = (MasterFile("x.mp4", "web", checks=(MasterCheck("tags", "", "", verdict),)),)  # type: ignore[arg-type]
    found = Identification("HLG" if sure else None)
    return ClipReport(name, name, identification=found, masters=masters)


@pytest.mark.parametrize(
    ("model", "verdict", "line"),
    [
        (ReportModel("x"), "note", "Nothing here yet: no clip was found on the card."),
        (
            ReportModel("x", unreadable=(UnreadableFile("a", "b"),)),
            "fail",
            "No file on the card could be read as a clip.",
        ),
        (ReportModel("x", clips=(ClipReport("a", "a"),)), "pass", "1 clip found."),
        (
            ReportModel("x", clips=(clip("a"), clip("b", sure=False))),
            "warn",
            "1 of 2 clips is identified.",
        ),
        (
            ReportModel("x", clips=(clip("a", verdict="pass"), clip("b", verdict="fail"))),
            "fail",
            "1 of 2 masters failed a check. All 2 clips are identified.",
        ),
        (
            ReportModel("x", clips=(clip("a", verdict="pass"),)),
            "pass",
            "The clip is identified. The master passed every check.",
        ),
    ],
)
def test_the_headline_says_the_worst_first(model: ReportModel, verdict: str, line: str) -> None:
    """One line for each state that a shoot can be in."""
    assert words.headline(model) == (verdict, line)


def test_a_clip_that_stays_unchanged_is_not_counted_as_levelled() -> None:
    """Both numbers stand in the headline."""

    def told(status: str) -> LevelDecision:
        return LevelDecision(clip="a", place="s", reference="r", status=status, why=())  # type: ignore[arg-type]

    clips = [ClipReport(s, s, levelling=told(s)) for s in ("matched", "unchanged")]
    places = (PlaceReport("s", ("matched", "unchanged"), "r"),)
    model = ReportModel("x", clips=tuple(clips), places=places)
    assert "1 matched to 1 reference, 1 unchanged." in words.headline(model)[1]


def test_masters_without_checks_do_not_pass() -> None:
    """A master that nothing was measured on is not called good."""
    made = ClipReport("a", "a", masters=(MasterFile("x.mp4", "web"),))
    assert words.master_verdict(made.masters[0]) == "note"
    assert "passed" not in words.headline(ReportModel("x", clips=(made,)))[1]
