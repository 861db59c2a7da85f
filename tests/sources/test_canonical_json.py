"""The ledger's lines and the texts of orders are in the canonical form of RFC 8785.

Source: A. Rundgren, B. Jordan, S. Erdtman, *JSON Canonicalization Scheme (JCS)*, RFC 8785, June 2020,
section 3.2.2 (the example object and its canonical form), 3.2.3 (the order of keys), appendix B (numbers).
The values are written down from memory of that text. Nothing is rounded, so nothing is tolerated.
"""

from __future__ import annotations

import json
import struct
from pathlib import Path

import pytest
import rfc8785

from takeup.errors import LedgerError
from takeup.ledger import BEGINNING, Ledger
from takeup.store.orderbook import canonical

# IEEE 754 double in hexadecimal: its JSON text (RFC 8785, appendix B)
NUMBERS = {
    "0000000000000000": "0",
    "8000000000000000": "0",
    "0000000000000001": "5e-324",
    "8000000000000001": "-5e-324",
    "7fefffffffffffff": "1.7976931348623157e+308",
    "ffefffffffffffff": "-1.7976931348623157e+308",
    "4340000000000000": "9007199254740992",
    "c340000000000000": "-9007199254740992",
    "4430000000000000": "295147905179352830000",
    "44b52d02c7e14af5": "9.999999999999997e+22",
    "44b52d02c7e14af6": "1e+23",
    "44b52d02c7e14af7": "1.0000000000000001e+23",
    "444b1ae4d6e2ef4e": "999999999999999700000",
    "444b1ae4d6e2ef4f": "999999999999999900000",
    "444b1ae4d6e2ef50": "1e+21",
    "3eb0c6f7a0b5ed8c": "9.999999999999997e-7",
    "3eb0c6f7a0b5ed8d": "0.000001",
    "41b3de4355555553": "333333333.3333332",
    "41b3de4355555554": "333333333.33333325",
    "41b3de4355555555": "333333333.3333333",
    "41b3de4355555556": "333333333.3333334",
    "41b3de4355555557": "333333333.33333343",
    "becbf647612f3696": "-0.0000033333333333333333",
    "43143ff3c1cb0959": "1424953923781206.2",
}

# Section 3.2.2, as it is given and as it must come out.
GIVEN = r"""{
  "numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],
  "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
  "literals": [null, true, false]
}"""
CANONICAL = (
    r'{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],'
    r'"string":"€$\u000f\nA' + r"'B\"\\\\\"/" + r'"}'
)

# Section 3.2.3: keys in the order of their UTF-16 code units.
KEYS = ("\r", "1", "\x80", "\xf6", "\u20ac", "\U0001f600", "\ufb33")


def line_of(tmp_path: Path, value: object) -> str:
    """The value as a ledger writes it, cut out of its line."""
    path = tmp_path / "ledger.jsonl"
    path.unlink(missing_ok=True)
    Ledger(path).append({"kind": "night", "a": value})
    line = path.read_bytes().decode("utf-8").removesuffix("\n")
    return line.removeprefix('{"a":').removesuffix(f',"kind":"night","previous":"{BEGINNING}"}}')


@pytest.mark.parametrize(("bits", "text"), NUMBERS.items(), ids=list(NUMBERS))
def test_numbers_are_written_as_the_standard_writes_them(tmp_path: Path, bits: str, text: str) -> None:
    (number,) = struct.unpack(">d", bytes.fromhex(bits))
    assert line_of(tmp_path, number) == text
    if not number.is_integer():  # the codec tags those
        assert canonical({"a": number}) == f'{{"a":{text}}}'


@pytest.mark.parametrize("bits", ["7fffffffffffffff", "7ff0000000000000", "fff0000000000000"])
def test_what_json_has_no_number_for_is_refused_and_nothing_is_written(tmp_path: Path, bits: str) -> None:
    (number,) = struct.unpack(">d", bytes.fromhex(bits))
    with pytest.raises(rfc8785.FloatDomainError):
        line_of(tmp_path, number)
    assert not (tmp_path / "ledger.jsonl").exists()


def test_the_standards_own_example_comes_out_as_it_says(tmp_path: Path) -> None:
    assert line_of(tmp_path, json.loads(GIVEN)) == CANONICAL


def test_keys_stand_in_the_order_of_their_code_units(tmp_path: Path) -> None:
    written = line_of(tmp_path, dict.fromkeys(reversed(KEYS), 1))
    assert tuple(json.loads(written)) == KEYS


@pytest.mark.parametrize(
    "line",
    [
        pytest.param('{"a":1.0,PREVIOUS}', id="a point without need"),
        pytest.param('{"a":1E3,PREVIOUS}', id="an exponent without need"),
        pytest.param('{"a":-0,PREVIOUS}', id="minus zero"),
        pytest.param('{"a":"\\u0041",PREVIOUS}', id="a letter escaped without need"),
        pytest.param('{"a":"\\/",PREVIOUS}', id="a slash escaped"),
        pytest.param('{"a":"\\u000A",PREVIOUS}', id="a long escape for a short one"),
        pytest.param('{"a":"\\u001F",PREVIOUS}', id="an escape in capitals"),
        pytest.param('{"a": 1,PREVIOUS}', id="a blank"),
        pytest.param('{PREVIOUS,"a":1}', id="keys out of order"),
        pytest.param('{"a":1,"a":1,PREVIOUS}', id="a key twice"),
        pytest.param('{"a":NaN,PREVIOUS}', id="no number"),
        pytest.param('{"a":"\\ud800",PREVIOUS}', id="half a letter"),
        pytest.param('{"a":9007199254740993,PREVIOUS}', id="a whole number that readers round"),
        pytest.param("[" * 100_000, id="nested beyond reading"),
    ],
)
def test_a_line_in_any_other_form_is_refused(tmp_path: Path, line: str) -> None:
    """Equal records in two forms would have two hashes."""
    path = tmp_path / "ledger.jsonl"
    path.write_text(line.replace("PREVIOUS", f'"kind":"night","previous":"{BEGINNING}"') + "\n", "utf-8")
    with pytest.raises(LedgerError, match="line 1"):
        list(Ledger(path).records())
