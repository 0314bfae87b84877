"""Pages of HTML that need nothing beside themselves, from the templates of this layer.

Their content security policy lets them fetch nothing and run nothing. What is put in is escaped.
"""

from __future__ import annotations

from functools import cache
from typing import Any, Final

import jinja2
from markupsafe import Markup

from evenhand.drawing.lookhealth import STYLE as HEALTH_STYLE
from evenhand.drawing.lookmodel import SAID, SIGN
from evenhand.drawing.report import data_uri
from evenhand.drawing.templating import asset, environment
from evenhand.wording.figures import strength

_SHEETS: Final = ("report.css", "looks.css")


def rendered(template: str, **context: Any) -> str:
    """A page; `css` is in its context."""
    css = Markup("".join(asset(name) for name in _SHEETS) + HEALTH_STYLE)  # our own files
    return _environment().get_template(template).render(css=css, sign=SIGN, said=SAID, **context)


@cache
def _environment() -> jinja2.Environment:
    made = environment()
    made.filters.update(uri=data_uri, strength=strength)
    return made
