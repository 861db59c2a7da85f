"""An install is the same everywhere: every package pinned and hashed, from whatever registry a user has."""

import re
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
LOCKS = ["requirements.lock", "requirements-test.lock"]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
RUN = PROJECT["project"]["dependencies"] + PROJECT["dependency-groups"]["build"]


def pins(lock: str) -> dict[str, str]:
    """Each pinned package with the text of its entry: version, marker and hashes."""
    text = (ROOT / lock).read_text("utf-8")
    entries = re.split(r"\n(?=\S)", text.strip())
    return {entry.split("==")[0]: entry for entry in entries}


def names(requirements: list[str]) -> set[str]:
    return {re.match(r"[\w.-]+", requirement)[0] for requirement in requirements}


@pytest.mark.parametrize("lock", LOCKS)
def test_every_entry_is_one_version_with_hashes(lock):
    entry = re.compile(r"[a-z0-9.-]+==[\w.]+(?: ; [^\\\n]+)?(?: \\\n    --hash=sha256:[0-9a-f]{64})+")
    assert {name for name, text in pins(lock).items() if not entry.fullmatch(text)} == set()


@pytest.mark.parametrize("lock", LOCKS)
def test_a_lock_names_no_registry_and_no_folder_of_a_machine(lock):
    text = (ROOT / lock).read_text("utf-8")
    assert re.findall(r"\w+://\S*|^-\S.*|[ =]/\S+", text, flags=re.MULTILINE) == []


@pytest.mark.parametrize(
    ("lock", "wanted"), [(LOCKS[0], RUN), (LOCKS[1], RUN + PROJECT["dependency-groups"]["test"])], ids=LOCKS
)
def test_a_lock_holds_all_that_is_asked_for(lock, wanted):
    assert names(wanted) - set(pins(lock)) == set()


def test_the_tests_run_on_the_very_releases_a_user_gets():
    run, test = (pins(lock) for lock in LOCKS)
    assert {name for name in run if run[name] != test.get(name)} == set()
