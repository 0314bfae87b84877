"""A sheet of looks as one page of HTML."""

from __future__ import annotations

from evenhand.drawing.lookmodel import SheetModel
from evenhand.drawing.webpage import rendered
from evenhand.wording.figures import plain, strength

_RATIO = "1.7778"  # frames of scenes are alike, so that looks can be compared down the page
_MOST_ACROSS = 6


def sheet_html(model: SheetModel) -> str:
    """The whole page."""
    _, across = in_lines(len(model.scenes))
    said = headline(model)
    return rendered("looksheet.html.j2", m=model, ratio=_RATIO, across=across, headline=said)


def headline(model: SheetModel) -> str:
    """How many looks there are, and how many of them pass, in a sentence."""
    strengths = sorted({row.strength for look in model.looks for row in look.rows})
    at = " and ".join(plain(strength(s)) for s in strengths)
    passed = sum(all(row.verdict == "pass" for row in look.rows) for look in model.looks)
    failed = sum(any(row.verdict == "fail" for row in look.rows) for look in model.looks)
    count = len(model.looks)
    if passed == count:
        return f"At {at}: {'it' if count == 1 else 'every one'} passes each test of its health."
    fails = f", {failed} {'fails' if failed == 1 else 'fail'} one" if failed else ""
    return f"At {at}: {passed} of {count} {'passes' if passed == 1 else 'pass'} every test{fails}."


def in_lines(count: int) -> tuple[int, int]:
    """Lines of pictures that are about as long as each other, and pictures in the longest."""
    lines = max(1, -(-count // _MOST_ACROSS))
    return lines, max(1, -(-count // lines))
