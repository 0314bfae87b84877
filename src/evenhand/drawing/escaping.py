"""Words inside markup: whatever they are, they are seen and do nothing."""

from __future__ import annotations

from xml.sax.saxutils import escape as _xml

from evenhand.names import shown


def escape(words: str) -> str:
    """Words as text of SVG or HTML: signs without a picture are escapes."""
    return _xml(shown(words))
