"""A look as a document: a short list of physical moves in TOML, read strictly, written canonically.

    format = 1
    name = "oven-light"
    title = "Oven light"
    purpose = "Warm rooms and faces."
    space = "bt709-display"       # or "acescct": before the output transform
    model = "oklab"               # or "ipt": the even space of a display look

    [[moves]]
    move = "tone"
    contrast = 1.1

    [effects.grain]               # never part of the table; off unless asked for
    amount = 0.02

Moves are applied in order. What a document does not say is left at the value that the move names.
The same recipe is always written as the same bytes, and `digest` is their SHA-256.
"""

from __future__ import annotations

import difflib
import hashlib
import json
import math
import re
import tomllib
from collections.abc import Iterable, Mapping
from types import MappingProxyType
from typing import Any, Final, Literal, TypeVar

import msgspec
import numpy as np

from evenhand.colourmath.curves import Array
from evenhand.errors import EvenhandError
from evenhand.grade.display_limit import into_display
from evenhand.grade.effects import Effects, Grain, Halation
from evenhand.grade.logmoves import LogSaturation, LogSplit, LogTone
from evenhand.grade.moves import Middle, Move, Operator, Tone, ToneInStops
from evenhand.grade.operators import Density, Mix, Print, Saturation, SplitTone, Turn
from evenhand.grade.uniform import GAMMA, MODELS, ModelName, lab_to_light, signal_to_lab

FORMAT: Final = 1
DISPLAY: Final = "bt709-display"
MAX_BYTES: Final = 64 << 10
_MOST_MOVES: Final = 24
Space = Literal["bt709-display", "acescct"]
_T = TypeVar("_T")

_KINDS: Final[Mapping[str, tuple[type[Move], ...]]] = MappingProxyType(
    {
        DISPLAY: (
            *(Tone, ToneInStops, Middle, SplitTone, Turn),
            *(Saturation, Density, Mix, Print),
        ),
        "acescct": (LogTone, LogSplit, LogSaturation),
    }
)
_NAME: Final = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*\Z", re.ASCII)


class RecipeError(EvenhandError):
    """A look document that cannot be read: which line or key, what is allowed."""


class Recipe(msgspec.Struct, frozen=True, kw_only=True):
    """A look: what it is for, and a function on the signal of the space it is made for.

    `space` "bt709-display" is R'G'B' 0..1 of a BT.709 display (BT.1886, black 0): `steps` work in
    the even space `model`, then colours that the display cannot show are drawn in along their
    luminance. `space` "acescct" is the signal before the output transform; nothing is cut there.
    """

    name: str
    title: str
    purpose: str
    space: Space = "bt709-display"
    model: ModelName = "oklab"
    steps: tuple[Operator, ...] = ()
    effects: Effects = Effects()

    @property
    def is_neutral(self) -> bool:
        """Greys stay grey; where it is False the look tints them on purpose."""
        return all(step.is_neutral for step in self.steps)

    @property
    def moves(self) -> tuple[str, ...]:
        """What the look does, a step a line, in words and numbers."""
        return tuple(step.words(MODELS[self.model]) for step in self.steps)

    def apply(self, signal: Array) -> Array:
        """Signal (..., 3) to signal of the same shape, float64.

        Of a display look 0..1, and input beyond that is cut. Without moves it changes nothing else.
        """
        values = np.asarray(signal, np.float64)
        if self.space != DISPLAY:
            for step in self.steps:
                values = step(values)
            return values
        if not self.steps:
            return np.clip(values, 0.0, 1.0)
        model = MODELS[self.model]
        lab = signal_to_lab(values.reshape(-1, 3), model)
        for step in self.steps:
            lab = step(lab, model)
        signal_out: Array = into_display(lab_to_light(lab, model)) ** (1.0 / GAMMA)
        return signal_out.reshape(values.shape)


class _Head(msgspec.Struct, frozen=True, kw_only=True):
    """What a document says outside its moves."""

    name: str
    title: str
    purpose: str
    space: Space = "bt709-display"
    model: ModelName = "oklab"
    effects: Effects = Effects()


def parse(text: str, name: str = "look") -> Recipe:
    """The recipe of a document; `name` is what errors call it.

    RecipeError, with the line or the key, for anything that a look cannot be: unknown keys (with
    the nearest that exists), wrong kinds of value, numbers out of range or not finite, settings
    that would fold colours, another format.
    """
    if len(text.encode("utf-8", "surrogatepass")) > MAX_BYTES:
        raise RecipeError(name, f"it is over {MAX_BYTES} bytes", "A look is a short document")
    try:
        data = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise RecipeError(name, f"this is not TOML: {error}", "Correct the line") from error
    version = data.pop("format", None)
    if version != FORMAT or isinstance(version, bool):
        found = "format is missing" if version is None else f"format is {version!r}"
        raise RecipeError(name, found, f"This evenhand reads format = {FORMAT}")
    _refuse_unfinite(data, name, "")
    _refuse_unknown(data, (*_Head.__struct_fields__, "moves"), name, "")
    effects = data.get("effects", {})
    if isinstance(effects, dict):
        _refuse_unknown_effects(effects, name)
    moves = data.pop("moves", [])
    head = _converted(data, _Head, name, "")
    steps = tuple(_steps(moves, head.space, name))
    return checked(Recipe(**msgspec.structs.asdict(head), steps=steps), name)


def checked(recipe: Recipe, subject: str = "") -> Recipe:
    """The recipe itself; RecipeError where its settings, taken together, cannot be."""
    subject = subject or recipe.name
    if not _NAME.match(recipe.name) or len(recipe.name) > 48:
        raise RecipeError(
            subject, f"name is {recipe.name!r}", "Use up to 48 of a-z, 0-9 and single hyphens"
        )
    for key, words in (("title", recipe.title), ("purpose", recipe.purpose)):
        if not words.strip() or len(words) > 240 or not words.isprintable():
            raise RecipeError(
                subject, f"{key} is empty, long or unprintable", "Use one line up to 240 characters"
            )
    if recipe.space != DISPLAY and recipe.model != "oklab":
        raise RecipeError(subject, f"model has no meaning in {recipe.space}", "Leave it out")
    for place, step in enumerate(recipe.steps, 1):
        problem = step.fault(MODELS[recipe.model])
        if problem:
            raise RecipeError(subject, f"move {place} ({_tag(step)}): {problem}", _HELP)
    return recipe


def written(recipe: Recipe) -> str:
    """The document in canonical form: fixed order, nothing that says its default."""
    lines = [f"format = {FORMAT}"]
    lines += [f"{key} = {_value(getattr(recipe, key))}" for key in ("name", "title", "purpose")]
    lines.append(f"space = {_value(recipe.space)}")
    if recipe.space == DISPLAY:
        lines.append(f"model = {_value(recipe.model)}")
    for step in recipe.steps:
        lines += ["", "[[moves]]", f"move = {_value(_tag(step))}", *_pairs(step)]
    for effect in recipe.effects.__struct_fields__:
        settings = getattr(recipe.effects, effect)
        if settings is not None:
            lines += ["", f"[effects.{effect}]", *_pairs(settings)]
    return "\n".join(lines) + "\n"


def digest(recipe: Recipe) -> str:
    """SHA-256 of the canonical document, in hexadecimal."""
    return hashlib.sha256(written(recipe).encode()).hexdigest()


_HELP: Final = "docs/looks.md lists what each move takes"


def _tag(step: object) -> str:
    return str(type(step).__struct_config__.tag)  # type: ignore[attr-defined]


def _pairs(settings: object) -> list[str]:
    """A line for each field that does not have its default; needed fields always."""
    lines = []
    for field in msgspec.structs.fields(settings):  # type: ignore[arg-type]
        value = getattr(settings, field.name)
        if field.default is not msgspec.NODEFAULT and value == field.default:
            continue
        lines.append(f"{field.name} = {_value(value)}")
    return lines


def _value(value: object) -> str:
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, float):
        return repr(value + 0.0)  # -0.0 is written as 0.0
    if isinstance(value, tuple):
        return f"[{', '.join(_value(item) for item in value)}]"
    if isinstance(value, msgspec.Struct):
        return f"{{ {', '.join(_pairs(value))} }}"
    return str(value)


def _steps(moves: object, space: str, name: str) -> Iterable[Operator]:
    if not isinstance(moves, list) or not all(isinstance(move, dict) for move in moves):
        raise RecipeError(name, "moves is not a list of tables", "Begin each with [[moves]]")
    if len(moves) > _MOST_MOVES:
        raise RecipeError(name, f"it has {len(moves)} moves", f"{_MOST_MOVES} are enough")
    kinds = {str(kind.__struct_config__.tag): kind for kind in _KINDS[space]}
    for place, move in enumerate(moves, 1):
        tag = move.get("move")
        if not isinstance(tag, str) or tag not in kinds:
            remedy = f"{_nearest(str(tag), kinds)}Looks for {space} have: {', '.join(kinds)}"
            raise RecipeError(name, f"move {place} is of the unknown kind {tag!r}", remedy)
        where = f"move {place} ({tag}): "
        kind = kinds[tag]
        _refuse_unknown(move, ("move", *kind.__struct_fields__), name, where)
        for key, lean in move.items():
            if isinstance(lean, dict):
                _refuse_unknown(lean, _keys_of_lean(space), name, f"{where}{key}.")
        step: Operator = _converted(move, kind, name, where)  # type: ignore[assignment]
        yield step


def _keys_of_lean(space: str) -> tuple[str, ...]:
    return ("hue", "amount", "kelvin", "duv") if space == DISPLAY else ("stops", "kelvin", "duv")


def _converted(data: object, kind: type[_T], name: str, where: str) -> _T:
    try:
        return msgspec.convert(data, kind)
    except msgspec.ValidationError as error:
        what = str(error).replace("`", "").replace("$.", "")
        raise RecipeError(name, f"{where}{what}", _HELP) from error


def _refuse_unknown(
    table: Mapping[str, object], allowed: Iterable[str], name: str, where: str
) -> None:
    known = list(allowed)
    for key in table:
        if key not in known:
            remedy = f"{_nearest(key, known)}Allowed are: {', '.join(known)}"
            raise RecipeError(name, f"{where}unknown key {key}", remedy)


def _refuse_unknown_effects(effects: Mapping[str, object], name: str) -> None:
    kinds = {"halation": Halation, "grain": Grain}
    _refuse_unknown(effects, kinds, name, "effects: ")
    for effect, settings in effects.items():
        if isinstance(settings, dict):
            _refuse_unknown(settings, kinds[effect].__struct_fields__, name, f"effects.{effect}: ")


def _nearest(word: str, known: Iterable[str]) -> str:
    near = difflib.get_close_matches(word, list(known), n=1)
    return f"Did you mean {near[0]}? " if near else ""


def _refuse_unfinite(value: Any, name: str, where: str) -> None:
    if isinstance(value, float) and not math.isfinite(value):
        raise RecipeError(name, f"{where} is {value}", "Give a finite number")
    items: Iterable[tuple[str, object]] = ()
    if isinstance(value, dict):
        items = ((f"{where}.{key}" if where else str(key), part) for key, part in value.items())
    elif isinstance(value, list):
        items = ((f"{where}[{place}]", part) for place, part in enumerate(value, 1))
    for place_name, part in items:
        _refuse_unfinite(part, name, place_name)
