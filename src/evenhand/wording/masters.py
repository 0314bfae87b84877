"""Words for the making of masters."""

from __future__ import annotations

from datetime import datetime

from evenhand.wording.saying import Clause


def _held(
    file: str, process: int | None = None, host: str = "", since: str = "", **_rest: object
) -> str:
    by = "another process" if process is None else f"process {process}"
    place = f" on {host}" if host else ""
    return f"waiting for {file}, being made by {by}{place}{_since(since)}"


def _since(moment: str) -> str:
    """When that was on this machine's clock, with the date where it is not today."""
    if not moment:
        return ""
    then = datetime.fromisoformat(moment).astimezone()
    today = then.date() == datetime.now().astimezone().date()
    return f" since {then:%H:%M}" if today else f" since {then:%Y-%m-%d %H:%M}"


CLAUSES: dict[str, Clause] = {
    "master.held": _held,
    "master.outdated": lambda quality: "replaced an outdated one: the grade has changed since",
    "master.lower": lambda quality: f"replaced one of the lower quality {quality}",
    "master.respec": lambda quality: "replaced one of another content of the spec",
    "master.better": lambda quality, asked: (
        f"kept the one of quality {quality}, which is higher than {asked}"
    ),
    "master.verified-anew": lambda: "it had no record, was verified anew, and passed",
    "master.broken": lambda checks: f"made again: it no longer passed ({', '.join(checks)})",
}
