"""Pages from templates: the files beside this package, and the one way they are filled in."""

from __future__ import annotations

from importlib import resources

import jinja2
from markupsafe import Markup

from evenhand.names import shown


def asset(name: str) -> str:
    """The text of a template, style or script."""
    folder = resources.files("evenhand.drawing") / "templates"
    return (folder / name).read_text(encoding="utf-8")


def environment() -> jinja2.Environment:
    """Templates that escape what they are given, and refuse what they are not."""
    return jinja2.Environment(
        loader=jinja2.FunctionLoader(asset),
        autoescape=True,
        finalize=_shown,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def _shown(value: object) -> object:
    """What a template is given, with signs that have no picture as escapes; markup is our own."""
    return shown(value) if isinstance(value, str) and not isinstance(value, Markup) else value
