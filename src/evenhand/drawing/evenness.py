"""The evenness chart: how alike the clips of a place are, before and after levelling.

Two panels, each an SVG of its own so that a narrow screen can stack them. Left: exposure in stops
from the reference, clips in order. Right: white as mired by Duv from the reference, drawn so that
equal distances are equal in CIE 1960 uv. Hollow is before, filled is after, a diamond is the
reference. The chart takes its colours from the page it stands on.
"""

from __future__ import annotations

from evenhand.drawing.escaping import escape
from evenhand.drawing.panels import WIDTH, exposure_panel, panel_height, white_panel
from evenhand.drawing.worst import in_words
from evenhand.measure.decisions import Evenness

_GAP = 28.0  # between the panels

STYLE = """
.evenness{--ev-ink:#1d1d1d;--ev-quiet:#585858;--ev-grid:#d8d8d8;--ev-ground:#ffffff;
--ev-before:#a64b00;--ev-after:#0a5c9e;--ev-band:#0a5c9e2b;
font-family:system-ui,sans-serif;font-size:13px;display:block;width:100%;height:auto}
@media (prefers-color-scheme:dark){.evenness{--ev-ink:#ededed;--ev-quiet:#b4b4b4;
--ev-grid:#454545;--ev-ground:#1e1e1e;--ev-before:#f2b56b;--ev-after:#7cc4ff;
--ev-band:#7cc4ff33}}
.evenness .ev-t{fill:var(--ev-quiet);font-variant-numeric:tabular-nums}
.evenness .ev-title{fill:var(--ev-ink);font-size:15px;font-weight:600}
.evenness .ev-name{fill:var(--ev-ink);font-size:12px}
.evenness .ev-name,.evenness .ev-out{paint-order:stroke;stroke:var(--ev-ground);stroke-width:3px;
stroke-linejoin:round}
.evenness .ev-out{fill:var(--ev-ink);font-size:13px;font-weight:700}
.evenness .ev-grid{stroke:var(--ev-grid);stroke-width:1}
.evenness .ev-zero{stroke:var(--ev-quiet);stroke-width:1.25}
.evenness .ev-band{fill:var(--ev-band)}
.evenness .ev-locus{fill:none;stroke:var(--ev-quiet);stroke-width:1.25}
.evenness .ev-bin{fill:none;stroke:var(--ev-quiet);stroke-width:1;stroke-dasharray:6 4}
.evenness .ev-mark,.evenness .ev-key{stroke-width:2}
.evenness .ev-before{fill:var(--ev-ground);stroke:var(--ev-before)}
.evenness .ev-after{fill:var(--ev-after);stroke:var(--ev-ground);stroke-width:1.25}
.evenness .ev-absent{fill:none;stroke:var(--ev-quiet);stroke-width:1.5;stroke-dasharray:3 2}
.evenness .ev-ring{fill:none;stroke:var(--ev-ink);stroke-width:1.25}
.evenness .ev-arrow{stroke:var(--ev-quiet);stroke-width:1.5}
.evenness .ev-head{fill:var(--ev-quiet)}
.evenness .ev-worst{fill:var(--ev-ink);font-size:15px}
.evenness .ev-lead{stroke:var(--ev-ink);stroke-width:1}
.evenness .ev-whisker{stroke:var(--ev-after);stroke-width:1.5}
.evenness .ev-trail{stroke:var(--ev-quiet);stroke-width:1;stroke-opacity:.45}
"""


def exposure_svg(evenness: Evenness, ident: str, style: bool = True) -> str:
    """The exposure panel. `ident` starts the ids inside; `style` puts the sheet in."""
    title = f"Exposure of the clips of {evenness.place}, in stops from {evenness.reference}"
    said = (title, in_words(evenness, "stops"))
    size = (WIDTH, panel_height(evenness))
    return _svg(_sheet(style) + exposure_panel(evenness), ident, said, size)


def white_svg(evenness: Evenness, ident: str, style: bool = True) -> str:
    """The white panel. `ident` starts the ids inside; `style` puts the sheet in."""
    title = f"White of the clips of {evenness.place}, in mired and Duv from {evenness.reference}"
    said = (title, in_words(evenness, "mired"))
    size = (WIDTH, panel_height(evenness))
    return _svg(_sheet(style) + white_panel(evenness), ident, said, size)


def evenness_svg(evenness: Evenness) -> str:
    """Both panels in one picture that stands alone."""
    title = f"Evenness of {evenness.place}, before and after levelling"
    words = f"{in_words(evenness, 'stops')} {in_words(evenness, 'mired')}"
    white = f'<g transform="translate({WIDTH + _GAP:g} 0)">{white_panel(evenness)}</g>'
    body = _sheet(True) + exposure_panel(evenness) + white
    size = (2 * WIDTH + _GAP, panel_height(evenness))
    return _svg(body, "evenness", (title, words), size)


def _sheet(wanted: bool) -> str:
    return f"<style>{STYLE}</style>" if wanted else ""


def _svg(body: str, ident: str, said: tuple[str, str], size: tuple[float, float]) -> str:
    title, words = said
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {size[0]:g} {size[1]:g}" '
        f'class="evenness" role="img" aria-labelledby="{ident}-t {ident}-d">'
        f'<title id="{ident}-t">{escape(title)}</title>'
        f'<desc id="{ident}-d">{escape(words)}</desc>{body}</svg>'
    )
