"""The queue's files for other programs: orders, changes, and the form that closes orders.

CSV as in RFC 4180, UTF-8, comma, CRLF. A cell that a spreadsheet would take for a formula gets a leading
apostrophe, so that a remark typed in the plant can never run anywhere.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence
from datetime import date
from typing import TYPE_CHECKING

from takeup.documents.index import changed, in_order, kept_out_sentence, unjudged_sentence
from takeup.documents.pages import lacking
from takeup.documents.sheets import NightSheet, OrderSheet
from takeup.documents.words import (
    order_subject,
    order_title,
    part_names,
    reason_sentence,
    running_sentence,
    subject_name,
)
from takeup.model import KeptOut, Verdict

if TYPE_CHECKING:
    from jinja2 import Environment

#: A plain number may begin with a sign: it is no formula.
PLAIN_NUMBER = re.compile(r"[+-]?\d+(\.\d+)?")
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", *"\uff1d\uff0b\uff0d\uff20")

ORDER_COLUMNS = (
    "order",
    "revision",
    "state",
    "urgency",
    "job",
    "subject",
    "machine",
    "machine_name",
    "area",
    "strands",
    "need_by",
    "buy_by",
    "shutdown",
    "why",
    "parts",
    "same_visit",
    "until",
    "raised_as_of",
    "revised_as_of",
    "page",
    "lockout_reminder",
    "lockout_register",
    "runs_on",
)
CHANGE_COLUMNS = (
    "order",
    "revision",
    "change",
    "as_of",
    "urgency",
    "job",
    "machine",
    "field",
    "before",
    "after",
    "by",
    "note",
)
#: What the form says to the person who fills it; the contract passes these columns over.
CLOSEOUT_WORDS = ("asked_for", "machine", "area", "urgency", "need_by", "part_of")
#: The columns of schemas/order_closeouts.json, in its order: the filled form *is* that feed.
CLOSEOUT_COLUMNS = (
    "order",
    "recorded_at",
    "outcome",
    "until",
    "reason",
    "done_on",
    "hours_used",
    "as_found",
    "as_left",
    "recorded_by",
    "changed_at",
    "withdrawn",
)


def harmless(cell: str) -> str:
    """The cell as a spreadsheet will show it, never run it.

    Examples
    --------
    >>> harmless("=1+1"), harmless("-12.5"), harmless("side A")
    ("'=1+1", '-12.5', 'side A')
    """
    if cell.startswith(FORMULA_STARTS) and not PLAIN_NUMBER.fullmatch(cell):
        return "'" + cell
    return cell


def table(columns: Sequence[str], rows: Iterable[Sequence[object]]) -> bytes:
    """A CSV file of those columns; dates are ISO, None is blank."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(columns)
    for row in rows:
        writer.writerow([harmless(_cell(value)) for value in row])
    return text.getvalue().encode("utf-8")


def _cell(value: object) -> str:
    if value is None:
        return ""
    return value.isoformat() if isinstance(value, date) else str(value)


def orders_csv(env: Environment, sheets: Sequence[OrderSheet]) -> bytes:
    """One line an open order, most urgent first, in words."""
    word = env.filters["word"]
    rows = []
    for sheet in sheets:
        order = sheet.order
        rows.append(
            (
                order.number,
                order.revision,
                word(order.state, "state"),
                word(order.urgency, "urgency"),
                word(order.job, "job"),
                order_subject(env, order),
                order.machine,
                sheet.machine.name,
                sheet.machine.area,
                "; ".join(order.strands),
                order.need_by,
                order.buy_by,
                order.shutdown,
                " ".join(reason_sentence(env, reason) for reason in order.reasons),
                "; ".join(part_names(env, order.parts)),
                "; ".join(other.number for other in sheet.visit),
                order.until,
                order.raised_as_of,
                order.revised_as_of,
                f"orders/{order.number}.html",
                f"reminders/{order.number}.html" if sheet.reminder else "",
                _lockout_register(env, sheet),
                running_sentence(env, order),
            )
        )
    return table(ORDER_COLUMNS, rows)


def _lockout_register(env: Environment, sheet: OrderSheet) -> str:
    """Whether the register says all that the order's lockout needs; blank where nothing is locked out."""
    if sheet.reminder is None:
        return ""
    lacks = lacking(env, sheet.reminder)
    return " ".join(("incomplete:", *lacks)) if lacks else "complete"


def changes_csv(env: Environment, sheet: NightSheet) -> bytes:
    """One line a changed field of a changed order."""
    rows = []
    for source, line in zip(sheet.changes, changed(env, sheet), strict=True):
        event = source.event
        for field in line.fields:
            rows.append(  # noqa: PERF401 - clearer than one comprehension of both
                (
                    event.order,
                    event.revision,
                    line.change,
                    event.as_of,
                    env.filters["word"](source.urgency, "urgency"),
                    line.title,
                    source.machine,
                    field.name,
                    field.before,
                    field.after,
                    event.by,
                    event.note,
                )
            )
    return table(CHANGE_COLUMNS, rows)


def kept_out_csv(env: Environment, kept_out: Sequence[KeptOut]) -> bytes:
    """Every row kept out, with its reason in words and its raw text."""
    columns = ("state", "export", "file", "line", "why", "column", "found", "wanted", "raw", "sha256")
    return table(
        columns,
        (
            (
                row.state,
                row.feed,
                row.file,
                row.line,
                kept_out_sentence(env, row),
                row.column,
                row.found,
                row.wanted,
                row.raw,
                row.sha256,
            )
            for row in in_order(kept_out)
        ),
    )


def unjudged_csv(env: Environment, verdicts: Sequence[Verdict]) -> bytes:
    """Every question that cannot be judged, with what is missing."""
    rows = [
        (
            verdict.machine,
            subject_name(env, verdict.subject_kind, verdict.subject),
            env.filters["word"](verdict.rule, "rule"),
            unjudged_sentence(env, verdict),
        )
        for verdict in verdicts
    ]
    return table(("machine", "subject", "question", "what_is_missing"), sorted(rows))


def closeouts_csv(env: Environment, sheet: NightSheet) -> bytes:
    """The form that closes orders: one line an open order in words, the outcome left for a person to fill.

    ``recorded_at`` is the ``as of`` of the sheet that the person answers. A line whose outcome stays blank
    says nothing about its order.
    """
    first, *rest = CLOSEOUT_COLUMNS
    blanks = [""] * (len(rest) - 1)
    return table(
        (first, *CLOSEOUT_WORDS, *rest),
        [(one.order.number, *_asked_for(env, one), sheet.as_of, *blanks) for one in sheet.orders],
    )


def _asked_for(env: Environment, sheet: OrderSheet) -> tuple[object, ...]:
    """The cells of :data:`CLOSEOUT_WORDS`."""
    order, machine = sheet.order, sheet.machine
    name = f"{machine.name} ({machine.machine})" if machine.name and machine.machine else machine.machine
    urgency = env.filters["word"](order.urgency, "urgency")
    return order_title(env, order), name, machine.area, urgency, order.need_by, order.swallowed_by
