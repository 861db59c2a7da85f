"""What README.md promises at the door is there: commands, options, settings, files, contracts, codes."""

from __future__ import annotations

import argparse
import csv
import json
import re
import shlex
import textwrap
import tomllib
from pathlib import Path

import pytest
from tests.night import plant
from tests.night.told import told

from takeup import cli, errors
from takeup.contracts import contract
from takeup.model import Feed
from takeup.resources import schemas_dir
from takeup.site.settings import SECTIONS, read_settings

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text("utf-8")
SITE = '[site]\nname = "Works"\ntime_zone = "Europe/Lisbon"\n'

#: Indented blocks, as Markdown has them.
BLOCKS = [
    textwrap.dedent(block).strip()
    for block in re.findall(r"(?:^    .*\n|^\n(?=    ))+", README, flags=re.MULTILINE)
    if block.strip()
]
TOML = [block for block in BLOCKS if block.startswith("[")]
COMMANDS = [line for block in BLOCKS for line in block.splitlines() if line.startswith("takeup ")]
TABLE = re.findall(r"^\| `takeup (\w+)([^|]*)\|", README, flags=re.MULTILINE)


def parsers() -> dict[str, argparse.ArgumentParser]:
    """Every command's parser by name."""
    (actions,) = [
        action for action in cli._parser()._actions if isinstance(action, argparse._SubParsersAction)
    ]
    return dict(actions.choices)


def test_every_command_of_the_readme_is_there_and_every_command_is_in_the_readme():
    named = set(re.findall(r"\btakeup (\w+)", " ".join(re.findall(r"`[^`]+`", README)))) | {
        line.split()[1] for line in COMMANDS
    }
    assert named == set(parsers())
    assert {name for name, _ in TABLE} | set(re.findall(r"`takeup (\w+)`", README)) == set(parsers())


@pytest.mark.parametrize("line", COMMANDS)
def test_a_command_line_of_the_readme_parses(line):
    given = cli._parser().parse_args(shlex.split(line.split("#")[0])[1:])
    assert callable(given.run)


def test_all_take_json():
    for name, parser in parsers().items():
        assert "--json" in parser.format_help(), name


@pytest.mark.parametrize("text", TOML, ids=lambda text: text.splitlines()[0])
def test_the_settings_of_the_readme_read(text):
    assert tomllib.loads(text)
    settings = read_settings(SITE + text)
    assert settings.sources[0].name == "tape" or any(
        layer.machine or layer.strand for layer in settings.layers.values()
    )


def test_there_are_settings_in_the_readme():
    assert len(TOML) >= 2
    assert len(COMMANDS) >= 3


def test_the_exit_codes_are_those_of_the_errors():
    line = re.search(r"Exit codes: (.*?)\n\n", README, flags=re.DOTALL)[1].replace("\n", " ")
    codes = dict(re.findall(r"(\d) ([a-z][^·.]*)", line))
    assert codes["0"].strip() == "done"
    for kind, said in (
        (errors.UsageError, "usage"),
        (errors.SettingsError, "settings"),
        (errors.InputUnusable, "input unusable"),
        (errors.StoreError, "store"),
        (errors.LockHeld, "lock"),
        (errors.OurFault, "our own fault"),
    ):
        assert said in codes[str(kind.exit_code)]
    assert set(codes) == set("012345")


def test_the_files_of_a_queue_are_those_the_readme_lists(tmp_path):
    queue = told(tmp_path / "s", 1).folders.queue / "current"
    listed = re.findall(
        r"^\| (`[^|]+) \|", README.split("What a planner gets")[1].split("##")[0], flags=re.MULTILINE
    )
    files = [name for cell in listed for name in re.findall(r"`([^`]+)`", cell)]
    assert len(files) >= 7
    there = set(plant.told_files(queue))
    for name in files:
        assert name in there, name


def test_eleven_feeds_have_a_published_contract():
    said = re.search(r"The (\w+) feeds", README)[1]
    assert (said, len(Feed)) == ("eleven", 11)
    for feed in Feed:
        schema = json.loads((schemas_dir() / f"{feed.value}.json").read_text("utf-8"))
        rules = contract(feed)
        assert [field["name"] for field in schema["fields"]] == [field.name for field in rules.fields]
        for field in schema["fields"]:
            assert field.get("title") or field.get("description"), (feed, field["name"])
        assert schema["primaryKey"] == list(rules.key)


def test_the_form_to_fill_is_the_feed_of_close_outs(tmp_path):
    """The README says: fill in the form and drop it into the inbox."""
    queue = told(tmp_path / "s", 1).folders.queue / "current"
    with (queue / "closeouts_to_fill.csv").open(encoding="utf-8-sig", newline="") as file:
        header = next(csv.reader(file))
    rules = contract(Feed.ORDER_CLOSEOUTS)
    assert {field.name for field in rules.fields} - set(header) <= {"changed_at", "withdrawn"}
    assert set(rules.key) <= set(header)


def test_the_python_of_the_readme_names_what_is_there():
    import takeup
    import takeup.schedule

    block = next(block for block in BLOCKS if block.startswith("import takeup"))
    for name in re.findall(r"takeup\.([\w.]+)\(", block):
        found = takeup
        for part in name.split("."):
            found = getattr(found, part)
        assert callable(found)


def test_the_files_the_readme_links_to_are_there():
    for target in re.findall(r"\]\(([^)#:]+)\)", README):
        assert (ROOT / target).exists(), target


def keys_of(table: str) -> set[str]:
    """The keys of a table of settings as README.md lists them."""
    rows = README.split(f"| `{table}` | says |")[1].split("\n\n")[0]
    return set(re.findall(r"^\| `(\w+)` \|", rows, flags=re.MULTILINE))


@pytest.mark.parametrize(
    ("table", "text"),
    [
        ("[site]", SITE + "zzzzzz = 1\n"),
        ("[source.NAME]", SITE + '[source.one]\nfeed = "run_hours"\nfiles = ["a"]\nzzzzzz = 1\n'),
    ],
)
def test_the_keys_of_the_readme_are_those_that_the_settings_know(table, text):
    with pytest.raises(errors.SettingsError) as refused:
        read_settings(text)
    assert keys_of(table) == set(refused.value.what.split("known are ")[1].split(", "))


def test_what_the_readme_says_of_a_key_left_out_is_so():
    settings = read_settings(SITE)
    said = dict(re.findall(r"^\| `(\w+)` \|[^\n]*\| `?\"?([\w:]+)\"?`? \|$", README, flags=re.MULTILINE))
    assert (float(said["settle_seconds"]), float(said["wait_seconds"])) == (
        settings.settle_seconds,
        settings.wait_seconds,
    )
    assert int(said["stale_after_days"]) == settings.stale_after_days
    assert said["tell_at"] == settings.tell_at.isoformat("minutes")
    assert (said["inbox"], said["order_prefix"]) == (settings.inbox, settings.orders.value("prefix"))


def test_the_sections_of_the_readme_are_those_of_the_settings():
    text = " ".join(README.split("the sections are ")[1].split(":\n")[0].split())
    assert re.findall(r"`(\w+)`", text) == list(SECTIONS)
