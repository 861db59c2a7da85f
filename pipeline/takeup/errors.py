"""Every error takeup raises on purpose, as one tree.

::

    TakeupError                 what, where, why it matters, what to do; carries the exit code
    ├── UsageError              2   the command line or a call was wrong
    │   └── SettingsError       2   the settings file was wrong
    ├── InputUnusable           3   an export as a whole could not be used
    ├── StoreError              4   the store, the archive or the disk refused
    │   ├── LockHeld            4   somebody else is writing this site
    │   ├── StoreDamaged        4   the store does not read as it was written; it can be made again
    │   └── LedgerError         4   the ledger does not read as it was written
    ├── WearInputError          5   a calculation was handed values outside its definition
    └── OurFault                5   a promise of takeup itself was broken

A single bad row is never an exception: it is a :class:`takeup.model.KeptOut` record.
"""

from __future__ import annotations


class TakeupError(Exception):
    """An error that a person can act on.

    Parameters
    ----------
    what : str
        What is wrong, with the value found and the value wanted.
    where : str, optional
        File, line, column, table or key.
    why : str, optional
        Why it matters.
    todo : str, optional
        What to do next.
    """

    exit_code = 5

    def __init__(self, what: str, *, where: str = "", why: str = "", todo: str = "") -> None:
        self.what = what
        self.where = where
        self.why = why
        self.todo = todo
        super().__init__(str(self))

    def __str__(self) -> str:
        """One paragraph: where, what, why it matters, what to do."""
        parts = [f"{self.where}: {self.what}" if self.where else self.what]
        parts += [text for text in (self.why, self.todo) if text]
        return " ".join(part if part.endswith((".", "?", "!")) else f"{part}." for part in parts)

    def as_dict(self) -> dict[str, str]:
        """The four texts by name, for ``--json``."""
        return {
            "error": type(self).__name__,
            "what": self.what,
            "where": self.where,
            "why": self.why,
            "todo": self.todo,
        }


class UsageError(TakeupError):
    """The command line or a call was wrong."""

    exit_code = 2


class SettingsError(UsageError):
    """The settings file was wrong; ``where`` names table and key."""


class InputUnusable(TakeupError):
    """An export as a whole could not be used; it stays where it is or in the archive."""

    exit_code = 3


class StoreError(TakeupError):
    """The store, the archive or the disk refused."""

    exit_code = 4


class LockHeld(StoreError):
    """Somebody else is writing this site; ``what`` names the holder."""


class StoreDamaged(StoreError):
    """The store does not read as it was written; archive and ledger make it again."""


class LedgerError(StoreError):
    """The ledger does not read as it was written; ``where`` names the line."""


class WearInputError(TakeupError):
    """A calculation was handed values outside its definition."""


class OurFault(TakeupError):
    """A promise of takeup itself was broken; worth a report to its makers."""
