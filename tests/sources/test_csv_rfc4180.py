"""The queue's CSV files against the grammar of RFC 4180.

Source: Y. Shafranovich, RFC 4180, Common Format and MIME Type for Comma-Separated Values (CSV) Files, October
2005, section 2, rules 1 to 7 and the ABNF at its end. TEXTDATA there is ASCII; the charset parameter of
section 3 allows others, so here it is widened to UTF-8 text beyond ASCII. The reader below is written from
that grammar and from nothing of ours.
"""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.documents.plant import KEPT_OUT, TEMPLATES, night, orders

from takeup.documents.environment import environment
from takeup.documents.files import (
    changes_csv,
    closeouts_csv,
    harmless,
    kept_out_csv,
    orders_csv,
    table,
    unjudged_csv,
)

# TEXTDATA = %x20-21 / %x23-2B / %x2D-7E ; and text beyond ASCII
TEXTDATA = r"[ !#-+\--~\u0080-\U0010ffff]"
NON_ESCAPED = rf"{TEXTDATA}*"
ESCAPED = rf'"(?:{TEXTDATA}|,|\r|\n|"")*"'
FIELD = re.compile(rf"(?:({ESCAPED})|({NON_ESCAPED}))(,|\r\n|\Z)")


def parsed(text: str) -> list[list[str]]:
    """Records of a file by the ABNF: file = [header CRLF] record *(CRLF record) [CRLF]."""
    records: list[list[str]] = [[]]
    at = 0
    while at < len(text):
        found = FIELD.match(text, at)
        assert found, f"no field of RFC 4180 at {at}: {text[at : at + 40]!r}"
        escaped, plain, end = found.groups()
        records[-1].append(escaped[1:-1].replace('""', '"') if escaped is not None else plain)
        at = found.end()
        if end == "\r\n":
            records.append([])
    return records if records[-1] else records[:-1]


ENV = environment([TEMPLATES])
FILES = {
    "orders.csv": orders_csv(ENV, orders()),
    "changes.csv": changes_csv(ENV, night()),
    "closeouts_to_fill.csv": closeouts_csv(ENV, night()),
    "kept_out.csv": kept_out_csv(ENV, KEPT_OUT),
    "cannot_judge.csv": unjudged_csv(ENV, night().unjudged),
}


@pytest.mark.parametrize("name", FILES)
def test_every_file_of_the_queue_follows_the_grammar(name: str) -> None:
    """Rule 1 (CRLF), rule 3 (header), rule 4 (the same number of fields throughout)."""
    records = parsed(FILES[name].decode("utf-8"))
    assert len(records) > 1
    assert {len(record) for record in records} == {len(records[0])}
    assert len(set(records[0])) == len(records[0])


def test_a_raw_row_with_commas_and_quotes_comes_back_whole() -> None:
    """Rules 5 to 7: commas, line breaks and quotes inside a cell."""
    header, *records = parsed(FILES["kept_out.csv"].decode("utf-8"))
    raw = [record[header.index("raw")] for record in records]
    assert [row.raw for row in KEPT_OUT if row.raw in raw] == [row.raw for row in KEPT_OUT]


# Control characters other than CR and LF are outside TEXTDATA; an export that holds one is refused at intake.
CELL = st.text(
    st.characters(min_codepoint=0x20, exclude_characters="\x7f", codec="utf-8") | st.sampled_from(',"\r\n')
)


@given(st.lists(st.tuples(CELL, CELL, CELL), min_size=1, max_size=6))
def test_any_cells_read_back_by_the_grammar_alone(rows: list[tuple[str, str, str]]) -> None:
    records = parsed(table(("a", "b", "c"), rows).decode("utf-8"))
    assert records == [["a", "b", "c"], *([harmless(cell) for cell in row] for row in rows)]
