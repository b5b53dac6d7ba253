"""The failure tree and the one sentence that every refusal has.

TunerError ─┬─ UsageError            the command line is wrong (exit status 2)
            └─ InputRefused          an input was refused (exit status 3)
               ├─ ReadError          a file could not become a record
               ├─ UnitError          a value has the wrong kind of unit or none that is known
               ├─ RecordError        numbers that cannot be a record (also a ValueError)
               ├─ MachineError       the machine file or its values
               └─ FitError           no sensible fit exists for this record

Takes nothing, gives the exceptions. Library code raises; only the command line and
the dashboard show.
"""

from __future__ import annotations


class TunerError(Exception):
    """Base of every deliberate failure: one sentence, and one hint what to do.

    key : names of the tables and the key of the machine file it is about, () where it is about none.
    """

    def __init__(self, message: str, *, hint: str = "", key: tuple[str, ...] = ()) -> None:
        super().__init__(message)
        self.message = message
        self.hint = hint
        self.key = key
        if hint:
            self.add_note(f"Hint: {hint}")  # Python and notebooks show it below the message


class UsageError(TunerError):
    """The request itself is wrong: an option, a name, a combination."""


class InputRefused(TunerError):  # noqa: N818
    """An input was looked at and refused; nothing was changed."""


class ReadError(InputRefused):
    """The file could not become a record."""


class UnitError(InputRefused):
    """A value came in a unit of the wrong kind, or in one that is not known."""


class RecordError(InputRefused, ValueError):
    """The numbers cannot be a record."""


class MachineError(InputRefused):
    """The machine file is incomplete, or a value in it is impossible."""


class FitError(InputRefused):
    """No sensible fit exists for this record."""


def require(
    ok: bool, name: str, rule: str, got: object, *, error: type[TunerError] = RecordError, hint: str = ""
) -> None:
    """Refuse with the one sentence shape: *name* must be *rule*; got *got*.

    Raises
    ------
    error
        When ``ok`` is false.
    """
    if not ok:
        raise error(f"{name} must be {rule}; got {got}", hint=hint)
