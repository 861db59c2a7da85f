"""What people write becomes a word of the vocabulary, or stays as they wrote it; breaking always stops."""

from __future__ import annotations

import pytest
from tests.derive.plant import simple_plant

from takeup.derive.findings import read
from takeup.derive.vocabulary import VOCABULARY, WORD_OF, plain, stop_word
from takeup.errors import SettingsError
from takeup.model import Job


@pytest.mark.parametrize("word", sorted(VOCABULARY))
def test_every_word_is_read_as_itself(word: str) -> None:
    for said in (word, word.upper(), word.replace("_", " "), word.replace("_", "-"), *VOCABULARY[word].also):
        assert read(said, "", "", {}).finding == word


def test_no_way_of_saying_means_two_things() -> None:
    said = [
        plain(text) for word in VOCABULARY.values() for text in {plain(t) for t in (word.word, *word.also)}
    ]
    assert len(said) == len(set(said)) == len(WORD_OF)


@pytest.mark.parametrize(
    "word",
    [
        "cracked_bushing",
        "cracked_pin",
        "broken_pin",
        "cracked_sidebar",
        "broken_sidebar",
        "loose_pin",
        "turned_pin",
    ],
)
def test_a_fracture_stops_and_is_investigated(word: str) -> None:
    """Common practice, no source: never ends as a new link."""
    about = VOCABULARY[word]
    assert about.stop_class
    assert about.fracture
    assert about.jobs == (Job.INVESTIGATE_FRACTURE,)


@pytest.mark.parametrize("word", ["jumping", "climbing", "missing_retainer"])
def test_other_findings_that_stop(word: str) -> None:
    assert VOCABULARY[word].stop_class
    assert not VOCABULARY[word].fracture


def test_free_words_are_kept_as_written() -> None:
    plant = simple_plant()
    row = plant.finding("makes a funny noise", strand="BE-1-A", remark="near the head")
    (told,) = plant.derived().findings.to_dict("records")
    assert (told["row_id"], told["finding"], told["raw_finding"]) == (
        row,
        "unclassified",
        "makes a funny noise",
    )
    assert (told["severity"], told["stop_class"], told["remark"]) == ("note", False, "near the head")


@pytest.mark.parametrize(
    ("finding", "remark"),
    [
        ("link cracked at mark 3", ""),
        ("odd sound", "pin BROKE at the boot"),
        ("Sheared off", ""),
        ("no cracks seen", ""),  # until a person has read it
    ],
)
def test_free_words_of_breaking_stop(finding: str, remark: str) -> None:
    told = read(finding, remark, "", {})
    assert (told.finding, told.stop_class, told.severity) == ("unclassified", True, "stop")


@pytest.mark.parametrize(
    ("remark", "stops"),
    [
        ("one pin cracked", True),
        ("no cracks", False),
        ("rust, not cracked", False),
        ("no rub. Sidebar broke", True),
        ("cracked, no rub", True),
        ("", False),
    ],
)
def test_a_remark_beside_a_known_word(remark: str, stops: bool) -> None:
    assert read("rust", remark, "note", {}).stop_class is stops


@pytest.mark.parametrize(
    ("finding", "remark", "severity"),
    [("slack", "", "soon"), ("slack", "after a jam at the boot", "stop"), ("sudden slack", "", "stop")],
)
def test_slack_with_and_without_an_event(finding: str, remark: str, severity: str) -> None:
    told = read(finding, remark, "", {})
    assert (told.finding, told.severity) == ("slack", severity)


def test_the_row_states_its_severity_and_a_fracture_still_stops() -> None:
    assert read("side_rub", "", "note", {}).severity == "note"
    told = read("cracked_pin", "", "note", {})
    assert (told.severity, told.stop_class) == ("note", True)


def test_the_sites_own_words_go_first() -> None:
    plant = simple_plant()
    plant.finding("Split Barrel", strand="BE-1-A")
    plant.finding("rust", strand="BE-1-A")
    told = plant.derived(finding_words="split barrel = cracked_bushing; rust = pitting").findings
    assert told["finding"].tolist() == ["cracked_bushing", "pitting"]
    assert told["site_word"].tolist() == ["Split Barrel", "rust"]


@pytest.mark.parametrize(
    ("finding", "remark", "word"),
    [
        ("cracked_pin", "seen at mark 3", ""),
        ("rust", "no cracks, but a plate is broken", "broken"),
        ("slack", "after a jam at the boot", "jam"),
        ("bolt sheared off", "", "sheared"),
        ("squeals", "", ""),
    ],
)
def test_the_word_that_made_it_a_matter_of_stopping_is_named(finding: str, remark: str, word: str) -> None:
    assert read(finding, remark, "", {}).telling_word == word


@pytest.mark.parametrize("text", ["split barrel", "split barrel = split", "= rust"])
def test_words_that_do_not_read(text: str) -> None:
    plant = simple_plant()
    with pytest.raises(SettingsError, match="not 'theirs = ours'"):
        plant.derived(finding_words=text)


def test_a_finding_on_a_strand_is_of_its_machine() -> None:
    plant = simple_plant()
    plant.finding("rust", strand="BE-1-A")
    plant.finding("side_rub", machine="DC-9")
    told = plant.derived().findings
    assert told["machine"].tolist() == ["BE-1", "DC-9"]
    assert told["strand"].tolist() == ["BE-1-A", ""]


def test_a_stop_word_in_any_text() -> None:
    """For rows that were refused or wait and nobody read yet."""
    assert stop_word("2026-03-02;Bolt SHEARED;;") == "SHEARED"
    assert stop_word("crackling sound") == "crackling"
    assert stop_word("in order") == ""
