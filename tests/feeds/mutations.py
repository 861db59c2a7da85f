"""Seeded damage to export files, as it happens on the way: at the source, in transfer, in a spreadsheet."""

from __future__ import annotations

import random
from collections.abc import Callable

Mutation = Callable[[random.Random, bytes], bytes]


def flip_byte(draw: random.Random, data: bytes) -> bytes:
    at = draw.randrange(len(data))
    return data[:at] + bytes([draw.randrange(256)]) + data[at + 1 :]


def cut_off(draw: random.Random, data: bytes) -> bytes:
    return data[: draw.randrange(len(data))]


def cut_line(draw: random.Random, data: bytes) -> bytes:
    lines = data.split(b"\n")
    at = draw.randrange(len(lines))
    lines[at] = lines[at][: draw.randrange(len(lines[at]) + 1)]
    return b"\n".join(lines)


def insert_quote(draw: random.Random, data: bytes) -> bytes:
    at = draw.randrange(len(data))
    return data[:at] + b'"' * draw.choice((1, 1, 1, 2, 3)) + data[at:]


def drop_quote(draw: random.Random, data: bytes) -> bytes:
    places = [at for at, byte in enumerate(data) if byte == ord('"')]
    if not places:
        return insert_quote(draw, data)
    at = draw.choice(places)
    return data[:at] + data[at + 1 :]


def swap_columns(draw: random.Random, data: bytes) -> bytes:
    lines = [line.split(b",") for line in data.split(b"\n")]
    a, b = draw.randrange(len(lines[0])), draw.randrange(len(lines[0]))
    for line in lines[draw.choice((0, 1)) :]:
        if len(line) > max(a, b):
            line[a], line[b] = line[b], line[a]
    return b"\n".join(b",".join(line) for line in lines)


def other_encoding(draw: random.Random, data: bytes) -> bytes:
    text = data.decode().replace("e", "é") if draw.random() < 0.5 else data.decode()
    return text.encode(draw.choice(("utf-16", "utf-16-le", "cp1252", "utf-32", "cp500", "utf-8-sig")))


def repeat_rows(draw: random.Random, data: bytes) -> bytes:
    lines = data.split(b"\n")
    at = draw.randrange(len(lines))
    return b"\n".join(lines[: at + 1] * 2 + lines[at + 1 :])


def byte_order_mark(draw: random.Random, data: bytes) -> bytes:
    at = draw.choice((0, 0, draw.randrange(len(data))))
    return data[:at] + b"\xef\xbb\xbf" + data[at:]


def line_ends(draw: random.Random, data: bytes) -> bytes:
    if draw.random() < 0.4:
        return data.replace(b"\n", draw.choice((b"\r\n", b"\r")))
    return b"".join(line + draw.choice((b"\n", b"\r\n", b"\r")) for line in data.split(b"\n"))


def blank_lines(draw: random.Random, data: bytes) -> bytes:
    lines = data.split(b"\n")
    at = draw.randrange(len(lines) + 1)
    return b"\n".join(lines[:at] + draw.choice(([b""], [b"", b""], [b"  "], [b",,,"], [b"\t"])) + lines[at:])


def insert_nul(draw: random.Random, data: bytes) -> bytes:
    at = draw.randrange(len(data))
    return data[:at] + draw.choice((b"\0", b"\0\0\0", b"\x1a", b"\x1f", b"\x7f")) + data[at:]


def huge_cell(draw: random.Random, data: bytes) -> bytes:
    at = draw.randrange(len(data))
    return (
        data[:at]
        + draw.choice((b"x", b"9", b",", b"\n", b'"')) * draw.choice((300, 5_000, 1_100_000))
        + data[at:]
    )


def odd_text(draw: random.Random, data: bytes) -> bytes:
    at = draw.randrange(len(data))
    odd = draw.choice(
        (
            "é",
            "\u202e",
            "\u00a0",
            "\u2028",
            "\ufeff",
            "١٢٣",
            "\uff11\uff12",
            "\U0001d7d9",
            "e\u0301",
            "=1+1",
            "-",
            "NaN",
            "1e5",
            "∞",
            "'",
        )
    )
    return data[:at] + odd.encode() + data[at:]


def other_number(draw: random.Random, data: bytes) -> bytes:
    old, new = draw.choice(
        (
            ("3098.5", "3098,5"),
            (".", ","),
            ("20", "0x14"),
            ("0", "O"),
            ("2026-", "26-"),
            ("-03-", "-02-30-"),
            ("1", "-1"),
        )
    )
    return data.replace(old.encode(), new.encode(), draw.choice((1, -1)))


def other_delimiter(draw: random.Random, data: bytes) -> bytes:
    return data.replace(b",", draw.choice((b";", b"\t", b"|", b", ", b" ,")), draw.choice((1, 5, -1)))


def shuffle_lines(draw: random.Random, data: bytes) -> bytes:
    lines = data.split(b"\n")
    draw.shuffle(lines)
    return b"\n".join(lines)


MUTATIONS: tuple[Mutation, ...] = (
    flip_byte,
    cut_off,
    cut_line,
    insert_quote,
    drop_quote,
    swap_columns,
    other_encoding,
    repeat_rows,
    byte_order_mark,
    line_ends,
    blank_lines,
    insert_nul,
    huge_cell,
    odd_text,
    other_number,
    other_delimiter,
    shuffle_lines,
)


def mutated(draw: random.Random, data: bytes) -> bytes:
    """The file after one to three mishaps."""
    for _ in range(draw.choice((1, 1, 2, 3))):
        if data:
            try:
                data = draw.choice(MUTATIONS)(draw, data)
            except UnicodeError:  # the mishap before it left no text to damage
                continue
    return data
