"""A night comes out the same whatever time zone, locale, hash seed, threads and day of who tells it again.

The long form, a year of nights of a simulated site: ``python -m tests.audit.year``.
"""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest
from tests.audit.elsewhere import ROOT, clocks_read, replayed, surroundings

from takeup.demo import demo
from takeup.site import Site

NIGHTS = 5


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Site:
    """The demo, all its machines and nights."""
    folder = tmp_path_factory.mktemp("demo") / "plant"
    demo(folder)
    return Site.open(folder)


@pytest.mark.parametrize("place", [0, 1], ids=["ahead, ASCII, one thread", "behind, comma, eight threads"])
def test_every_night_of_the_demo_comes_out_to_the_byte_elsewhere(
    site: Site, tmp_path: Path, place: int
) -> None:
    around = surroundings(tmp_path)[place]
    told = replayed(site.folders.root, tmp_path / "again", around)
    assert [night["night"] for night in told["nights"]] == [*range(1, NIGHTS + 1)]
    assert [one for night in told["nights"] for one in night["differences"]] == []
    assert sum(night["files"] for night in told["nights"]) > 150
    zone, encoding, _, threads = told["where"]
    assert (zone, encoding, threads) == [("+13", "ANSI_X3.4-1968", 1), ("SST", "UTF-8", 8)][place]


#: Who may ask for the time, and what becomes of it: the log's lines, the lock's word about its holder.
MAY_ASK = {
    ("logging/__init__.py", ""): "the moment of a line of the log",
    ("site/lock.py", "site/lock.py"): "since when the site is held",
    ("internal/observability.py", "takeup/contracts.py"): "when hypothesis was imported, by pandera",
}


def test_no_clock_is_read_but_for_log_and_lock(site: Site, tmp_path: Path) -> None:
    """Every call of a clock from Python is watched while a night is told again."""
    read = clocks_read(site.folders.root, tmp_path / "again", 2)
    assert read, "the lock's own reading was not seen"
    asked = {(name, *(_tail(file) for file in files)) for name, *files in read}
    assert {one for one in asked if not _may(one[1:])} == set()


def _may(files: tuple[str, ...]) -> bool:
    return any(
        files[0].endswith(asks) and (not behind or files[-1].endswith(behind)) for asks, behind in MAY_ASK
    )


def _tail(file: str) -> str:
    return "/".join(Path(file).parts[-2:])


CLOCK_OF_SQL = re.compile(
    r"\b(now|today|current_date|current_time(stamp)?|localtime(stamp)?|transaction_timestamp|get_current_\w+"
    r"|random|uuid|gen_random_uuid|setseed)\b",
    re.IGNORECASE,
)


def test_no_query_asks_for_the_time_or_for_chance() -> None:
    store = ROOT / "pipeline" / "takeup" / "store"
    statements = [
        (path.name, found)
        for path in sorted(store.rglob("*"))
        if path.suffix in (".py", ".sql")
        for text in _sql_of(path)
        for found in CLOCK_OF_SQL.findall(text)
    ]
    assert statements == []


def _sql_of(path: Path) -> list[str]:
    """The texts in which SQL may stand: a whole .sql file, the strings of a module but for its docstrings."""
    text = path.read_text("utf-8")
    if path.suffix == ".sql":
        return [re.sub(r"--.*", "", text)]
    tree = ast.parse(text)
    docs = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef)
        and node.body
        and isinstance(node.body[0], ast.Expr)
    }
    return [
        node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in docs
    ]
