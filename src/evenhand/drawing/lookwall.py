"""A wall of looks for one clip, as one page of HTML."""

from __future__ import annotations

from evenhand.drawing.lookmodel import WallModel
from evenhand.drawing.webpage import rendered


def wall_html(model: WallModel) -> str:
    """The whole page."""
    ratio = model.before.width / model.before.height
    tall = ratio < 1.0
    # Looks beside one picture without a look, on a wide page and on a middling one.
    steps = (5, 3) if tall else (3, 2)
    return rendered("lookwall.html.j2", m=model, ratio=round(ratio, 4), tall=tall, steps=steps)
