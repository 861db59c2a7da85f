"""A lockout reminder never claims to be the procedure, and refuses to look complete when it is not."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from tests.documents.plant import DRAG, ELEVATOR, FEEDER, SOURCES, TEMPLATES, WHOLE
from tests.documents.reading import Page, read

from takeup.contracts import contract
from takeup.documents.environment import environment
from takeup.documents.pages import lacking, reminder_page
from takeup.documents.sheets import EnergySource, MachineSheet, ReminderSheet
from takeup.model import Feed

ENV = environment([TEMPLATES])
KINDS = next(field for field in contract(Feed.MACHINES).fields if field.name == "kind").words
ENERGIES = next(field for field in contract(Feed.ENERGY_SOURCES).fields if field.name == "kind").words


def page_of(sheet: ReminderSheet) -> Page:
    return read(reminder_page(ENV, sheet))


@pytest.mark.parametrize("sources", [(), SOURCES, WHOLE], ids=["none", "with gaps", "whole"])
def test_it_says_at_the_top_that_it_is_no_procedure(sources: tuple[EnergySource, ...]) -> None:
    page = page_of(ReminderSheet("C-0003", ELEVATOR, sources))
    assert page.open_left == []
    top = page.text.split("Energy sources the register names", 1)[0]
    assert "This is a reminder. It is not the lockout procedure." in top
    for words in (
        "Local law",
        "the site's lockout programme",
        "licensed electricians",
        "authorised people decide",
    ):
        assert words in top


@pytest.mark.parametrize("sources", [(), SOURCES, WHOLE], ids=["none", "with gaps", "whole"])
def test_it_never_claims_to_be_complete_or_enough(sources: tuple[EnergySource, ...]) -> None:
    text = page_of(ReminderSheet("C-0003", ELEVATOR, sources)).text
    assert not re.search(
        r"(?<!in)\bcomplete\b|safe to (start|work|enter)|all energy sources|nothing missing",
        text,
        re.IGNORECASE,
    )
    assert not re.search(r"this (page|reminder) is (the|a) (lockout )?procedure", text, re.IGNORECASE)


def test_it_names_the_sites_own_written_procedure() -> None:
    assert (
        "written procedure for this machine: LP-BE-31 rev. 4."
        in page_of(ReminderSheet("C-3", ELEVATOR, WHOLE)).text
    )
    assert "the register names none" in page_of(ReminderSheet("C-3", ELEVATOR)).text


def test_every_source_is_listed_with_all_the_register_says_of_it() -> None:
    table = page_of(ReminderSheet("C-3", ELEVATOR, WHOLE)).section(
        "Energy sources the register", "Look for these"
    )
    for source in WHOLE:
        for value in (
            source.source,
            source.magnitude,
            source.isolation_point,
            source.isolated_how,
            source.released_how,
            source.verified_how,
            source.procedure_number,
        ):
            assert value in table
    assert "DC-12" in table


def test_a_register_without_gaps_is_not_called_incomplete() -> None:
    sheet = ReminderSheet("C-3", FEEDER, WHOLE)
    assert lacking(ENV, sheet) == []
    assert "INCOMPLETE" not in page_of(sheet).text


def test_without_any_source_it_says_incomplete_and_why() -> None:
    page = page_of(ReminderSheet("C-3", DRAG))
    box = page.section("INCOMPLETE", "Energy sources the register")
    assert "The register names no energy source of this machine." in box
    assert "The register names no written procedure for this machine." in box
    assert "That does not mean it has none." in page.text


@pytest.mark.parametrize(
    ("column", "says"),
    [
        ("magnitude", "main drive motor: no magnitude."),
        ("isolation_point", "main drive motor: no isolation point."),
        ("isolated_how", "main drive motor: not said how it is isolated."),
        ("released_how", "main drive motor: not said how stored energy is relieved"),
        ("verified_how", "main drive motor: not said how isolation is verified."),
        ("procedure_number", "main drive motor: no number of a written procedure."),
    ],
)
@pytest.mark.parametrize("blank", ["", "  "])
def test_each_blank_cell_makes_it_incomplete_line_by_line(column: str, says: str, blank: str) -> None:
    sources = (replace(WHOLE[0], **{column: blank}), *WHOLE[1:])
    sheet = ReminderSheet("C-3", ELEVATOR, sources)
    assert [line for line in lacking(ENV, sheet) if line.startswith(says)]
    assert len(lacking(ENV, sheet)) == 1
    box = page_of(sheet).section("INCOMPLETE", "Energy sources the register")
    assert says in box
    assert "Do not work by this page" in box


def test_a_source_no_longer_exported_stays_and_makes_it_incomplete() -> None:
    sheet = ReminderSheet("C-3", ELEVATOR, (*WHOLE[:2], replace(WHOLE[2], still_exported=False)))
    text = page_of(sheet).text
    assert "feeder above (no longer exported)" in text
    assert "feeder above: the register no longer exports this source. It may still be there." in text


def test_no_procedure_at_all_is_said_once_more_in_one_line() -> None:
    sources = tuple(replace(source, procedure_number="") for source in WHOLE)
    assert "The register names no written procedure for this machine." in lacking(
        ENV, ReminderSheet("C", ELEVATOR, sources)
    )


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        ("bucket_elevator", ("loaded leg running back", "engulfment", "take-up weights", "combustible dust")),
        ("drag_conveyor", ("inclined run sliding back", "hydraulic take-up", "tension of the chain")),
        ("scraper_conveyor", ("inclined run sliding back", "gates along the run")),
        ("apron_feeder", ("load of the hopper on the pans", "both ends", "crushing between pans")),
        ("reclaimer", ("collapse of the pile", "counterweights", "cable reel", "wind")),
        ("heavy_drive", ("driven machine turning back the drive", "barring gear", "flywheel")),
        ("slat_conveyor", ("no list of its own",)),
        ("other", ("no list of its own",)),
    ],
)
def test_hazards_are_named_by_kind_of_machine(kind: str, words: tuple[str, ...]) -> None:
    text = page_of(ReminderSheet("C-3", MachineSheet("M", kind=kind), WHOLE)).section(
        "Look for these", "The order of"
    )
    for word in (*words, "remote and automatic start", "the weight of the chain itself once it is cut"):
        assert word in text


def test_every_kind_of_machine_and_energy_of_the_contracts_has_its_page() -> None:
    sources = tuple(replace(WHOLE[0], source=f"source {kind}", kind=kind) for kind in ENERGIES)
    for kind in (*KINDS, ""):
        assert page_of(ReminderSheet("C-3", MachineSheet("M", kind=kind), sources)).open_left == []


def test_a_backstop_is_called_no_isolation() -> None:
    text = page_of(ReminderSheet("C-3", ELEVATOR, WHOLE)).text
    assert "It is no isolation, and freeing it lets a loaded leg fall." in text
    assert "Do not jog a choked leg." in text


def test_there_are_blanks_to_sign_for_every_source_and_role() -> None:
    signed = page_of(ReminderSheet("C-3", ELEVATOR, WHOLE)).text.split("To be signed", 1)[1]
    for words in (
        *(source.source for source in WHOLE),
        "Put on by, time",
        "Verified by, time",
        "Taken off by, time",
        "Primary authorised person",
        "Hand-over at shift change",
        "Return to service",
    ):
        assert words in signed


def test_hostile_register_text_stays_text() -> None:
    bad = "<img src=x onerror=alert(1)>{{ sheet }}"
    source = replace(WHOLE[0], source=bad, isolation_point=bad, procedure_number=bad)
    page = page_of(ReminderSheet("C-3", MachineSheet(bad, bad, area=bad), (source,)))
    assert "img" not in page.tags
    assert page.text.count(bad) >= 6


# ------------------------------------------------------- what the register may have left out, as questions

ASKED = re.compile(r"Nothing is registered under ([“”a-z ]+): is there none\?")


DRAG_ENERGIES = ["electrical or hydraulic", "gravity", "mechanical", "hydraulic", "thermal or material"]


def questions(kind: str, *named: str) -> list[str]:
    """What the reminder asks of a machine whose register names these kinds of energy, hazard by hazard."""
    sources = tuple(replace(WHOLE[0], source=f"source {word}", kind=word) for word in named)
    page = page_of(ReminderSheet("C-3", MachineSheet("M", kind=kind), sources))
    return [
        each.replace("“", "").replace("”", "")
        for each in ASKED.findall(page.section("Look for these", "The order of"))
    ]


@pytest.mark.parametrize(
    ("kind", "expected"),
    [
        ("bucket_elevator", ["electrical", "gravity", "material", "mechanical", "thermal or chemical"]),
        ("drag_conveyor", DRAG_ENERGIES),
        ("scraper_conveyor", DRAG_ENERGIES),
        ("apron_feeder", ["electrical or hydraulic", "material or gravity", "hydraulic or mechanical"]),
        ("reclaimer", ["electrical or hydraulic", "gravity", "other", "material", "electrical"]),
        ("heavy_drive", ["mechanical", "mechanical", "hydraulic"]),
        ("slat_conveyor", []),
    ],
)
def test_each_energy_that_a_kind_of_machine_may_have_is_asked_about(kind: str, expected: list[str]) -> None:
    """Common practice, no source: what to look for on each kind of machine."""
    of_all = ["electrical", "material", "pneumatic", "electrical", "thermal"]
    assert questions(kind) == expected + of_all


def test_an_energy_that_the_register_names_is_not_asked_about() -> None:
    assert questions("bucket_elevator", "electrical", "gravity", "material") == [
        "mechanical",
        "thermal or chemical",
        "pneumatic",
        "thermal",
    ]
    assert "pneumatic" not in questions("bucket_elevator", "pneumatic")
    assert questions("bucket_elevator", *ENERGIES) == []


def test_a_source_no_longer_exported_is_still_named() -> None:
    gone = replace(WHOLE[0], kind="pneumatic", still_exported=False)
    page = page_of(ReminderSheet("C-3", MachineSheet("M", kind="other"), (gone,)))
    assert "“pneumatic”" not in page.text


def test_a_question_is_no_fact_and_makes_no_register_incomplete() -> None:
    sheet = ReminderSheet("C-3", ELEVATOR, WHOLE)
    assert questions("bucket_elevator", *(source.kind for source in WHOLE))
    assert lacking(ENV, sheet) == []
    assert "INCOMPLETE" not in page_of(sheet).text


def test_an_incomplete_register_points_at_the_questions() -> None:
    assert "does not name is asked about" in page_of(ReminderSheet("C-3", DRAG)).section(
        "INCOMPLETE", "Energy sources"
    )


@pytest.mark.parametrize(
    ("words", "source"),
    [
        ("blocked against hazardous motion", "30 CFR 56.14105, 57.14105"),
        ("It moves only as far as adjusting or testing needs, with everyone protected", "30 CFR 56.14105"),
        ("Do not jog a choked leg.", "Mich. R 408.17716(1), WAC 296-99-085(1)"),
        ("Empty the leg first where possible; block or clamp both runs", "common practice, no source"),
        ("Every mark that needs a turn needs all of it again", "29 CFR 1910.147 (f)(1)"),
        ("some can only be let go once power is back", "29 CFR 1910.147, note in appendix A"),
        ("only the employer may decide, by the site's own written rule", "29 CFR 1910.147 (e)(3), exception"),
        ("knows who is exposed; everyone still puts a personal lock", "29 CFR 1910.147 (f)(3)(ii)(B), (D)"),
        ("on one visit have one coordinator", "29 CFR 1910.147 (f)(3)(ii)(C)"),
        ("so that protection never lapses", "29 CFR 1910.147 (f)(4)"),
        ("keep verifying until the work is done", "29 CFR 1910.147 (d)(5)(ii)"),
    ],
)
def test_the_rules_behind_a_reminder_are_told_in_words_of_our_own(words: str, source: str) -> None:
    assert words in page_of(ReminderSheet("C-3", ELEVATOR, WHOLE)).text, f"wanted by: {source}"
