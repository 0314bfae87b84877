"""What can go wrong, said so that the person can act on it.

EvenhandError            exit status 1
  ClipError              a file on the card cannot be read as a clip, or not wholly
  EncodingUnknownError   the evidence does not settle on one encoding
  ShootError             the shoot document is missing, foreign or damaged
  LookMissingError       the shoot's own copy of a look is missing or not what it was
  LookMisplacedError     a look would land where its own values say it does not belong
  TargetError            a place to write to cannot take the result
    NameTakenError       another file is there under that name
  MasterRejectedError    a written master failed its own verification
  FaultError             evenhand itself is at fault; its trace is kept in a file
  UsageError             exit status 2: a name or value that evenhand does not know
"""

from __future__ import annotations

from pathlib import Path
from typing import ClassVar, Final

from evenhand.names import brief

TRACE: Final = "EVENHAND_TRACE"  # set in the environment, it lets a traceback through


class EvenhandError(Exception):
    """Base of every error that is shown as one line instead of a traceback.

    Every error carries the same three facts: `subject` (the file, clip or option), `found` (what
    was found and, where it helps, what was expected) and `remedy` (what to do next). None can be
    raised without a remedy. `code` is the kind of failure where one is kept in files.
    """

    exit_status: ClassVar[int] = 1

    def __init__(self, subject: Path | str, found: str, remedy: str, code: str = "") -> None:
        super().__init__(subject, found, remedy, code)
        self.subject = subject
        self.found = found
        self.remedy = remedy
        self.code = code

    def __str__(self) -> str:
        end = "" if self.remedy.endswith(("?", "…")) else "."
        return f"{self.subject}: {self.found}. {self.remedy}{end}"


class ClipError(EvenhandError):
    """A file on the card cannot be read as a clip, or not wholly."""


class EncodingUnknownError(EvenhandError):
    """The evidence leaves two or more encodings, or none."""


class ShootError(EvenhandError):
    """The shoot document is missing, foreign or damaged."""


class LookMissingError(EvenhandError):
    """The shoot's own copy of a look is missing, or not what it was."""


class LookMisplacedError(EvenhandError):
    """A look would land where its own values say that it does not belong."""


class TargetError(EvenhandError):
    """A place to write to cannot take the result."""


class NameTakenError(TargetError):
    """Another file is there under that name; every other name would do."""


class MasterRejectedError(EvenhandError):
    """A written master failed its own verification."""


class FaultError(EvenhandError):
    """Something that evenhand did not foresee, in the work on one file; `trace` shows where.

    Whoever tells of it keeps the trace in a file and names that.
    """

    def __init__(self, subject: Path | str, kind: str, trace: str) -> None:
        super().__init__(subject, f"a fault in evenhand ({kind})", "Report it")
        self.args = (subject, kind, trace)
        self.trace = trace


class UsageError(EvenhandError):
    """A name or value that evenhand does not know: wrong usage.

    What was given is said, but not thousands of letters of it; a path is said whole.
    """

    exit_status: ClassVar[int] = 2

    def __init__(self, subject: Path | str, found: str, remedy: str, code: str = "") -> None:
        given = brief(subject) if isinstance(subject, str) else subject
        super().__init__(given, brief(found, 400), remedy, code)


def fault(error: Exception) -> str:
    """What is said of an error that nobody foresaw: a fault of the program is one line too."""
    said = " ".join(str(error).split()) or "no words"
    kind = type(error).__name__
    return f"this is a fault in evenhand: {kind}: {said}. {TRACE}=1 shows where; report it."
