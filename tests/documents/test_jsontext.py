"""JSON broken over lines for people reads back whole, held against the standard library's encoder."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from takeup.documents.jsontext import laid_out

PLAIN = (
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text()
)
VALUES = st.recursive(
    PLAIN, lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4)
)
DEEPER = 1_000


@given(VALUES, st.integers(0, 5))
def test_it_reads_back_as_it_was_however_it_is_broken(value: Any, levels: int) -> None:
    assert json.loads(laid_out(value, levels)) == value


@given(VALUES)
def test_broken_at_every_level_it_is_the_text_of_the_standard_library(value: Any) -> None:
    assert laid_out(value, DEEPER).decode() == json.dumps(value, ensure_ascii=False, indent=1) + "\n"


def test_what_lies_deeper_stands_on_one_line_each() -> None:
    facts = [{"name": "marks", "value": [4, 5]}, {"name": "á\n", "value": None}]
    text = laid_out({"reasons": [{"facts": facts}]}, 4).decode()
    assert text.splitlines()[4:6] == [
        '    {"name": "marks", "value": [4, 5]},',
        '    {"name": "á\\n", "value": null}',
    ]


@pytest.mark.parametrize("levels", [0, 3])
def test_a_number_that_is_not_finite_is_refused(levels: int) -> None:
    with pytest.raises(ValueError, match="not JSON compliant"):
        laid_out({"orders": [float("nan")]}, levels)
