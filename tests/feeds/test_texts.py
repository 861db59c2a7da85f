"""Packing, encodings, line ends, quotes: what the bytes of a file may be, and what becomes of each line."""

from __future__ import annotations

import csv
import gzip
import io
import random

import pytest
from tests.feeds.delivery import EXPORTS, Site

from takeup.feeds import SourceDialect
from takeup.feeds.lines import cells_of
from takeup.store.staging import load_raw

HOURS = "machine,read_at,meter_hours\n"
FINDINGS = "machine,seen_at,finding,remark\n"


def lines(site: Site) -> list[tuple[str, int]]:
    return [(row.reason, row.line) for row in site.store.kept_out()]


def origin_lines(site: Site, feed: str) -> list[int]:
    return sorted(site.rows(feed)["line"])


@pytest.mark.parametrize(
    ("name", "encode"),
    [
        ("as it is", lambda text: text.encode()),
        ("windows line ends", lambda text: text.replace("\n", "\r\n").encode()),
        ("old line ends", lambda text: text.replace("\n", "\r").encode()),
        ("mixed line ends", lambda text: text.replace("\n", "\r\n", 2).encode()),
        ("byte order mark", lambda text: text.encode("utf-8-sig")),
        ("mark and windows line ends", lambda text: text.replace("\n", "\r\n").encode("utf-8-sig")),
        ("no last line end", lambda text: text.rstrip("\n").encode()),
        ("blank lines at the end", lambda text: (text + "\n\n  \n").encode()),
        ("gzip", lambda text: gzip.compress(text.encode(), mtime=0)),
        (
            "two gzip members",
            lambda text: gzip.compress(text[:20].encode()) + gzip.compress(text[20:].encode()),
        ),
        ("blanks around cells", lambda text: text.replace(",", " ,\t").encode()),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_the_same_rows_come_out_of_every_form_of_a_file(tmp_path, name, encode):
    site = Site(tmp_path)
    text = HOURS + "EL-1,2026-03-01,100.5\nDC-2,2026-03-01,90\nEL-1,2026-03-02,124\n"
    (rows,) = site.deliver({"run_hours.csv": encode(text)})
    assert (rows.read, rows.new) == (3, 3), name
    assert site.rows("run_hours")["meter_hours"].tolist() == [90, 100.5, 124]
    assert origin_lines(site, "run_hours") == [2, 3, 4]


@pytest.mark.parametrize(
    "encoding", ["cp1252", "latin-1", "utf-16", "utf-16-le", "utf-32", "cp437", "shift_jis"]
)
def test_declared_encodings_read_and_lines_keep_their_numbers(tmp_path, encoding):
    source = SourceDialect("plant", "machines", ("*.csv",), encoding=encoding)
    site = Site(tmp_path, [source])
    letters = "ü" if encoding != "shift_jis" else "鎖"
    text = f"machine,kind,area\nEL-1,other,{letters}ber\n\nEL-2,other,x{letters}\n"
    (rows,) = site.deliver({"m.csv": text.encode(encoding)})
    assert rows.new == 2
    assert site.rows("machines")["area"].tolist() == [f"{letters}ber", f"x{letters}"]
    assert origin_lines(site, "machines") == [2, 4]


def test_bytes_outside_the_declared_encoding_refuse_their_line_only(tmp_path):
    site = Site(tmp_path)
    data = b"machine,kind,area\nA,other,North\nB,other,S\xfcd\nC,other,\xc3\xbcber\n"
    (rows,) = site.deliver({"machines.csv": data})
    assert (rows.new, rows.refused) == (2, 1)
    (row,) = site.store.kept_out()
    assert (row.reason, row.line, row.found) == ("not_in_encoding", 3, "bytes FC")
    assert row.raw == "B,other,S\\xfcd"


@pytest.mark.parametrize(
    ("data", "reason"),
    [
        (b"", "no_text"),
        (b"\n\n", "no_text"),
        (gzip.compress(HOURS.encode() * 50, mtime=0)[:60], "not_unpacked"),
        (b"\x1f\x8bnot gzip at all", "not_unpacked"),
        ("machine,read_at,meter_hours\nA,2026-03-02,1\n".encode("utf-16"), "wrong_encoding"),
        ("machine,read_at,meter_hours\nA,2026-03-02,1\n".encode("utf-16-le"), "no_header"),
        (b"machine,read_at\nA,2026-03-02\n", "column_missing"),
        (b"machine,read_at,meter_hours,hours\nA,2026-03-02,1,1\n", "column_twice"),
        (b'machine,"read_at,meter_hours\nA,2026-03-02,1\n', "no_header"),
        (b"sep=;\nmachine;read_at;meter_hours\n", "wrong_delimiter"),
        (b"machine;read_at;meter_hours\nA;2026-03-02;1\n", "wrong_delimiter"),
        (b"machine\n1\n", "column_missing"),
        (b"A,2026-03-02,1\nA,2026-03-03,2\n", "column_missing"),
        (b"," * 5000 + b"\n1\n", "no_header"),
    ],
)
def test_a_file_that_cannot_be_used_is_refused_listed_and_counted(tmp_path, data, reason):
    site = Site(tmp_path)
    accounting = site.deliver({"run_hours_a.csv": data, "run_hours_b.csv": HOURS + "B,2026-03-02,1\n"})
    broken = next(rows for rows in accounting if rows.file == "run_hours_a.csv")
    assert broken.refused == broken.read
    assert [(row.reason, row.line, row.file) for row in site.store.kept_out()] == [
        (reason, 0, "run_hours_a.csv")
    ]
    assert len(site.rows("run_hours")) == 1, "the night goes on"


def test_a_missing_column_names_the_nearest_header(tmp_path):
    site = Site(tmp_path)
    site.deliver({"run_hours.csv": "machine,read_at,metre_hours\nA,2026-03-02,1\n"})
    (row,) = site.store.kept_out()
    assert (row.reason, row.column, row.found, row.wanted) == (
        "column_missing",
        "meter_hours",
        "metre_hours",
        "meter_hours",
    )
    assert row.raw == "machine,read_at,metre_hours"


def test_a_column_nobody_asked_for_is_left_unread_and_named(tmp_path):
    site = Site(tmp_path)
    site.deliver({"run_hours.csv": "plant,machine,read_at,meter_hours,meter_evnt\nX,A,2026-03-02,1,reset\n"})
    assert site.rows("run_hours")["meter_event"].tolist() == ["none"]
    assert '"columns_unread": ["plant", "meter_evnt (near meter_event)"]' in site.store.files(1)["notes"][0]


@pytest.mark.parametrize(
    "form",
    [
        pytest.param("order,recorded_at,outcome\nC-0001,2026-03-01,accepted\n", id="without words"),
        pytest.param(
            "order,asked_for,machine,area,urgency,need_by,part_of,recorded_at,outcome\n"
            "C-0001,Measure the chain: EL-1,Elevator (EL-1),Mill,this week,2026-03-07,,2026-03-01,accepted\n",
            id="as a night writes it",
        ),
        pytest.param(
            'order,Asked for,NEED BY,recorded_at,outcome\nC-0001,"=1+1","soon, 03/04",2026-03-01,accepted\n',
            id="with words that somebody changed",
        ),
    ],
)
def test_the_words_of_the_close_out_form_are_passed_over_in_silence(tmp_path, form):
    site = Site(tmp_path)
    (accounting,) = site.deliver({"order_closeouts.csv": form})
    assert (accounting.new, accounting.refused) == (1, 0)
    assert site.rows("order_closeouts")[["order", "outcome"]].to_numpy().tolist() == [["C-0001", "accepted"]]
    assert "columns_unread" not in site.store.files(1)["notes"][0]
    # The old form and the new say the same: the one that comes second is a duplicate.
    plain = "order,recorded_at,outcome\nC-0001,2026-03-01,accepted\n"
    (again,) = site.deliver({"order_closeouts_2.csv": plain})
    assert again.duplicate == 1


def test_the_sites_own_headers_go_first(tmp_path):
    source = SourceDialect(
        "meters",
        "run_hours",
        ("*.csv",),
        delimiter=";",
        decimal=",",
        headers={"Anlage": "machine", "Ablesung": "read_at", "Stunden": "meter_hours"},
    )
    site = Site(tmp_path, [source])
    site.deliver({"z.csv": "ABLESUNG;Stunden;anlage;machine\n2026-03-02;100,5;EL-1;other\n"})
    row = site.rows("run_hours").iloc[0]
    assert (row["machine"], row["meter_hours"]) == ("EL-1", 100.5)


LONE_QUOTES = [
    ("at a cell's start", 'B,2026-03-02,rub,"lost', "unreadable_quote"),
    ("after a closed cell", 'B,2026-03-02,rub,"lost" quote', "unreadable_quote"),
    ("in the middle of a cell", 'B,2026-03-02,rub,6" pipe', None),
    ("in the first cell", '"B,2026-03-02,rub,x', "unreadable_quote"),
    ("behind blanks", 'B,2026-03-02,rub,  "x"', "unreadable_quote"),
    ("one too many", 'B,2026-03-02,rub,""x"', "unreadable_quote"),
    ("a mid quote, then one left open", 'B,2026-03-02,ru"b,"x', "unreadable_quote"),
]


@pytest.mark.parametrize(
    ("line", "reason"), [case[1:] for case in LONE_QUOTES], ids=[case[0] for case in LONE_QUOTES]
)
def test_a_lone_quote_never_swallows_other_rows(tmp_path, line, reason):
    site = Site(tmp_path)
    good = [f"A{n},2026-03-02,rub,fine" for n in range(300)]
    text = FINDINGS + "\n".join([*good[:150], line, *good[150:]]) + "\n"
    (rows,) = site.deliver({"inspection_findings.csv": text})
    assert rows.read == 301
    assert rows.new == (300 if reason else 301)
    assert lines(site) == ([(reason, 152)] if reason else [])
    assert len(site.rows("inspection_findings")) == rows.new


def test_two_lone_quotes_do_not_make_a_pair_over_rows(tmp_path):
    site = Site(tmp_path)
    text = FINDINGS + 'A,2026-03-02,rub,"x\nB,2026-03-02,rub,y\nC,2026-03-02,rub,z"\nD,2026-03-02,rub,w\n'
    (rows,) = site.deliver({"inspection_findings.csv": text})
    assert (rows.read, rows.new) == (4, 3)
    assert lines(site) == [("unreadable_quote", 2)]
    assert site.rows("inspection_findings")["remark"].tolist() == ["y", 'z"', "w"]


def test_a_remark_over_several_lines_is_one_row_and_the_lines_after_keep_their_numbers(tmp_path):
    site = Site(tmp_path)
    text = FINDINGS + 'A,2026-03-02,rub,"first\nsecond, ""quoted""\r\n\nlast"\nB,2026-03-02,rub,plain\n'
    (rows,) = site.deliver({"inspection_findings.csv": text})
    assert (rows.read, rows.new) == (2, 2)
    found = site.rows("inspection_findings")
    assert found["remark"].tolist() == ['first\nsecond, "quoted"\n\nlast', "plain"]
    assert found["line"].tolist() == [2, 6]


def test_wrong_cell_counts_nul_bytes_control_characters_and_huge_lines_refuse_their_line(tmp_path):
    site = Site(tmp_path)
    bad = [
        "A,2026-03-01",
        "A,2026-03-01,1,1",
        "A\0,2026-03-01,1",
        "A\x1f,2026-03-01,1",
        "A,2026-03-01," + "9" * 1_000_001,
    ]
    (rows,) = site.deliver({"run_hours.csv": HOURS + "\n".join([*bad, "B,2026-03-01,1"]) + "\n"})
    assert (rows.read, rows.new, rows.refused) == (6, 1, 5)
    assert lines(site) == [
        ("wrong_cell_count", 2),
        ("wrong_cell_count", 3),
        ("nul_byte", 4),
        ("control_character", 5),
        ("line_too_long", 6),
    ]
    assert all("\0" not in row.raw and len(row.raw) <= 10_000 for row in site.store.kept_out())


def test_lines_of_delimiters_only_are_blank(tmp_path):
    site = Site(tmp_path)
    (rows,) = site.deliver({"run_hours.csv": HOURS + "A,2026-03-01,1\n,,\n , ,\n"})
    assert (rows.read, rows.new) == (1, 1)


def test_every_record_our_reader_takes_alone_the_loader_reads_the_same_way(tmp_path):
    """The fast and the line-by-line way must agree on what a cell is, or damage elsewhere would change a row.

    A quote mark behind two blanks never meets the loader: the preflight sends such files line by line.
    """
    draw = random.Random(5)
    site = Site(tmp_path)
    connection = site.store.connection
    wanted: list[list[str]] = []
    records: list[str] = []
    while len(records) < 4_000:
        record = "".join(
            draw.choice(('"', '"', ",", ",", "a", " ", "'", ";", "é")) for _ in range(draw.randrange(3, 14))
        )
        cells = cells_of(record, ",")
        if cells is not None and len(cells) == 3 and record.strip() and '  "' not in record:
            records.append(record)
            wanted.append(cells)
    path = tmp_path / "records.csv"
    path.write_text("\n".join(records) + "\n", encoding="utf-8")
    from takeup.contracts import contract
    from takeup.store.reading import Marks, Reading

    reading = Reading(1, contract("run_hours"), path, ",", 3, 0, 1, (), Marks(), whole=False, source="x")
    assert load_raw(connection, reading) == len(records)
    loaded = connection.execute(
        "SELECT coalesce(c0, ''), coalesce(c1, ''), coalesce(c2, '') FROM scratch.raw"
    ).fetchall()
    assert [[cell.strip() for cell in row] for row in loaded] == [
        [cell.strip() for cell in row] for row in wanted
    ]


def test_what_a_csv_writer_writes_comes_back_cell_for_cell(tmp_path):
    """The reference is Python's own csv writer, which follows RFC 4180 (section 2, rules 5 to 7)."""
    draw = random.Random(11)
    letters = ['"', ",", "\n", "a", "é", "=", "'", "\\", ";", "x y", "1,5"]
    remarks = [
        "".join(draw.choice(letters) for _ in range(draw.randrange(1, 12))).strip() for _ in range(400)
    ]
    written = io.StringIO()
    writer = csv.writer(written, lineterminator="\n")
    writer.writerow(["machine", "seen_at", "finding", "remark"])
    for number, remark in enumerate(remarks):
        writer.writerow([f"M-{number:04}", "2026-03-02", "rub", remark])
    site = Site(tmp_path)
    (rows,) = site.deliver({"inspection_findings.csv": written.getvalue()})
    assert (rows.read, rows.new) == (400, 400)
    assert site.rows("inspection_findings")["remark"].tolist() == remarks


def test_the_sample_plant_survives_quoting_everything(tmp_path):
    site = Site(tmp_path)
    quoted = {}
    for name, text in EXPORTS.items():
        written = io.StringIO()
        csv.writer(written, quoting=csv.QUOTE_ALL, lineterminator="\r\n").writerows(
            csv.reader(io.StringIO(text))
        )
        quoted[name] = written.getvalue()
    accounting = site.deliver(quoted)
    assert all(rows.new == rows.read for rows in accounting)
