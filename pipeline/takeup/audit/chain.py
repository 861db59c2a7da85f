"""The ledger checked: every line canonical and chained, every record whole, every night behind its last."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

from jsonschema import Draft202012Validator

from takeup.audit.difference import Difference, Part
from takeup.errors import LedgerError
from takeup.ledger import BEGINNING, chained, head_of
from takeup.resources import schemas_dir

#: A head is typed from paper; its first sixteen digits leave no room for chance.
FEWEST_DIGITS = 16
_LONGEST = 200


@dataclass(frozen=True)
class Chain:
    """The records of a ledger that read, the head behind each, and what is wrong.

    ``torn`` is how many bytes stand behind the last whole line.
    """

    records: tuple[dict[str, Any], ...]
    heads: tuple[str, ...]
    differences: tuple[Difference, ...]
    torn: int

    @property
    def head(self) -> str:
        """The ledger's head, as far as it reads."""
        return self.heads[-1] if self.heads else BEGINNING

    @property
    def nights(self) -> list[dict[str, Any]]:
        """The records of nights, oldest first."""
        return [record for record in self.records if record["kind"] == "night"]

    def vouched(self, head: str) -> int | None:
        """How many records a head vouches for, the first digits of it; None where it is of another ledger."""
        return next((place for place, own in enumerate(self.heads, start=1) if own.startswith(head)), None)


def chain(content: bytes, name: str) -> Chain:
    """Check the bytes of a ledger.

    Parameters
    ----------
    content : bytes
    name : str
        Of the file, as differences name it.

    Returns
    -------
    Chain
        Its records end before the first bad line.
    """
    whole = content.rfind(b"\n") + 1
    lines = enumerate(content[:whole].split(b"\n")[:-1], start=1)
    records: list[dict[str, Any]] = []
    wrong: list[Difference] = []
    try:
        for line, record in enumerate(chained(lines, name), start=1):
            odd = _odd(record, records)
            if odd is not None:
                code, facts = odd
                wrong.append(Difference(code, Part.LEDGER, f"{name} line {line}", _number(record), facts))
                break
            records.append(record)
    except LedgerError as error:
        wrong.append(Difference("ledger_line", Part.LEDGER, error.where, None, {"says": error.what}))
    return Chain(
        tuple(records), tuple(head_of(record) for record in records), tuple(wrong), len(content) - whole
    )


def _odd(record: dict[str, Any], before: Sequence[dict[str, Any]]) -> tuple[str, dict[str, Any]] | None:
    """What is wrong with a record that is canonical and chained."""
    fault = next(_schema().iter_errors(record), None)
    if fault is not None:
        return "ledger_shape", {"place": fault.json_path, "says": fault.message[:_LONGEST]}
    if record["kind"] != "night":
        return None
    for name, found, wanted in _steps(record, before):
        if found != wanted:
            return "ledger_sequence", {"name": name, "found": found, "wanted": wanted}
    return None


def _steps(
    record: Mapping[str, Any], before: Sequence[dict[str, Any]]
) -> Iterator[tuple[str, object, object]]:
    """Name, value found and value wanted of what a night takes over from the one before it."""
    last = next((one for one in reversed(before) if one["kind"] == "night"), None)
    yield "number", record["number"], last["number"] + 1 if last else 1
    yield "previous_as_of", record["previous_as_of"], last["as_of"] if last else None
    yield "as_of", record["as_of"], max(record["as_of"], last["as_of"]) if last else record["as_of"]
    yield "fleet_before", record["fleet_before"], last["fleet"] if last else None
    yield "queue", record["queue"], f"night-{record['number']:06d}"


def _number(record: Mapping[str, Any]) -> int | None:
    number = record.get("number")
    return number if isinstance(number, int) else None


@cache
def _schema() -> Draft202012Validator:
    return Draft202012Validator(json.loads((schemas_dir() / "ledger.json").read_text(encoding="utf-8")))
