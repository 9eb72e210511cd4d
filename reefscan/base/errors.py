"""Every error the package raises on purpose.

::

    ReefscanError
    ├── InputError(ValueError)          a file or value that cannot be used as it is
    │   ├── MissingInputError(FileNotFoundError)
    │   ├── UnreadableError             damaged, truncated, not of a known form
    │   ├── AmbiguousError              two readings are possible; names the flag that decides
    │   └── NoCrsError                  no coordinate reference system
    ├── RecipeError(ValueError)         unknown key, bad value, reversed band
    ├── RunFolderError(OSError)         run folder: not ours, locked, other version, unwritable
    │   ├── LockedError
    │   └── DiskFullError
    ├── NeedsScanError(ValueError)      asked for something only a new scan can answer
    └── EngineError(RuntimeError)       scheduler or workers failed as a whole

A message says where, what is wrong, what was found, what is wanted and what to do, in one line:
``survey.tif: elevations run 3 to 41 above zero; is this depth, positive down? Say --positive down.``
"""

from __future__ import annotations

from reefscan.base.question import Question


def one_line(error: BaseException) -> str:
    """An error's text on one line; its kind where it has none."""
    return " ".join(str(error).split()) or type(error).__name__


class ReefscanError(Exception):
    """Root of the tree. ``str(error)`` is one line fit for a person."""

    exit_code = 1


class InputError(ReefscanError, ValueError):
    """A file or a value that cannot be used as it is."""


class MissingInputError(InputError, FileNotFoundError):
    """A named input does not exist."""

    def __str__(self) -> str:  # FileNotFoundError would print errno text
        return str(self.args[0]) if self.args else ""


class UnreadableError(InputError):
    """A file is damaged, truncated or of no known form."""


class _Asking(InputError):
    """What a person can answer; ``asks`` holds the question, where it can be asked in a few words."""

    def __init__(self, *args: object, asks: Question | None = None) -> None:
        super().__init__(*args)
        self.asks = asks


class AmbiguousError(_Asking):
    """Two readings are possible; the message names the flag that decides."""


class NoCrsError(_Asking):
    """The input has no coordinate reference system and none was given."""


class RecipeError(ReefscanError, ValueError):
    """A recipe has an unknown key, a bad value or a reversed band."""


class RunFolderError(ReefscanError, OSError):
    """A run folder is not ours, of another version or cannot be written."""

    def __str__(self) -> str:
        return str(self.args[0]) if self.args else ""


class LockedError(RunFolderError):
    """Another process is using the run folder."""


class DiskFullError(RunFolderError):
    """The disk filled up; what was finished is kept."""


class NeedsScanError(ReefscanError, ValueError):
    """The question reaches outside what the stored run searched: scan again."""


class EngineError(ReefscanError, RuntimeError):
    """The scheduler or the worker processes failed as a whole."""
