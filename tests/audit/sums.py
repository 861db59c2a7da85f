"""Sums as the pages print them, reckoned again from nothing but what is printed.

A printed number stands for every value that is rounded to it, so a sum is reckoned with intervals: it agrees
with its result where the two intervals meet. Whole factors of 100 and 1000 turn units and are exact.
"""

from __future__ import annotations

import ast
import operator
import re
from dataclasses import dataclass
from datetime import datetime, timedelta

NUMBER = re.compile(r"\d+(?:\.\d+)?")
DAY = re.compile(r"[A-Z][a-z]{2} (\d{1,2} [A-Z][a-z]{2} \d{4})")
EXACT = {"100", "1000"}


@dataclass(frozen=True)
class Span:
    """All values from ``low`` to ``high``."""

    low: float
    high: float

    def by(self, other: Span, how) -> Span:
        ends = [how(a, b) for a in (self.low, self.high) for b in (other.low, other.high)]
        return Span(min(ends), max(ends))

    def meets(self, other: Span) -> bool:
        return self.low <= other.high + 1e-9 and other.low <= self.high + 1e-9


def agrees(sum_: str, result: str) -> bool:
    """Whether a printed sum comes to its printed result."""
    if DAY.search(sum_):
        return _day(sum_) == _day(result)
    return reckoned(sum_).meets(reckoned(result))


def _day(text: str) -> datetime:
    first = DAY.search(text)
    assert first, text
    start = datetime.strptime(first[1], "%d %b %Y")  # noqa: DTZ007 - a civil day
    return start - timedelta(days=sum(map(int, re.findall(r"− (\d+) days?", text))))


def reckoned(text: str) -> Span:
    """The values that a printed sum may have."""
    bare = re.sub(r"per 1000 h|[A-Za-z%°µ]+", " ", text)
    plain = bare.replace("−", "-").replace("×", "*").replace("÷", "/")
    return _value(ast.parse(plain.strip(), mode="eval").body, plain.strip())


def _value(node: ast.expr, text: str) -> Span:
    if isinstance(node, ast.BinOp):
        how = {
            ast.Add: operator.add,
            ast.Sub: operator.sub,
            ast.Mult: operator.mul,
            ast.Div: operator.truediv,
        }
        return _value(node.left, text).by(_value(node.right, text), how[type(node.op)])
    if isinstance(node, ast.UnaryOp):
        inner = _value(node.operand, text)
        return Span(-inner.high, -inner.low)
    written = ast.get_source_segment(text, node) or ""
    assert NUMBER.fullmatch(written), (text, written)
    value = float(written)
    half = 0.0 if written in EXACT else 0.5 * 10.0 ** -len(written.partition(".")[2])
    return Span(value - half, value + half)
