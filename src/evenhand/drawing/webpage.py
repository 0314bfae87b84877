"""Pages of HTML that need nothing beside themselves, from the templates of this layer.

Their content security policy lets them fetch nothing and run nothing. What is put in is escaped.
"""

from __future__ import annotations

from functools import cache
from importlib import resources
from typing import Any, Final

import jinja2
from markupsafe import Markup

from evenhand.drawing.lookhealth import STYLE as HEALTH_STYLE
from evenhand.drawing.lookmodel import SAID, SIGN
from evenhand.drawing.report import data_uri

_SHEETS: Final = ("report.css", "looks.css")


def rendered(template: str, **context: Any) -> str:
    """A page; `css` is in its context."""
    css = Markup("".join(_asset(name) for name in _SHEETS) + HEALTH_STYLE)  # our own files
    return _environment().get_template(template).render(css=css, sign=SIGN, said=SAID, **context)


def percent(share: float) -> str:
    """A share as a whole percentage."""
    return f"{100 * share:.0f} %"


def _asset(name: str) -> str:
    folder = resources.files("evenhand.drawing") / "templates"
    return (folder / name).read_text(encoding="utf-8")


@cache
def _environment() -> jinja2.Environment:
    environment = jinja2.Environment(
        loader=jinja2.FunctionLoader(_asset),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters.update(uri=data_uri, percent=percent)
    return environment
