"""A wall of looks for one clip, as one page of HTML."""

from __future__ import annotations

from evenhand.drawing.lookmodel import WallModel
from evenhand.drawing.webpage import rendered


def wall_html(model: WallModel) -> str:
    """The whole page."""
    return rendered("lookwall.html.j2", m=model)
