"""The order of steps on the lockout reminder against 29 CFR 1910.147, The control of hazardous energy.

Source: Code of Federal Regulations, title 29, section 1910.147 (54 FR 36687, 1 September 1989, as amended
through 76 FR 44265, 25 July 2011), a work of the United States government. Paragraph (d): the established
procedures "shall cover the following elements and actions and shall be done in the following sequence". The
paragraphs' own headings are stated below. Appendix A, non-mandatory, gives the same sequence with
notification before it.
"""

from __future__ import annotations

import re

import pytest
from tests.documents.plant import ELEVATOR, SOURCES, TEMPLATES, WHOLE
from tests.documents.reading import Page, read

from takeup.documents.environment import environment
from takeup.documents.pages import reminder_page
from takeup.documents.sheets import ReminderSheet

#: paragraph, its heading in the regulation, and what of that heading the reminder's step must use
SEQUENCE = [
    ("(c)(9)", "Notification of employees", r"notif"),
    ("(d)(1)", "Preparation for shutdown", r"prepar"),
    ("(d)(2)", "Machine or equipment shutdown", r"shut ?down"),
    ("(d)(3)", "Machine or equipment isolation", r"isolat"),
    ("(d)(4)", "Lockout or tagout device application", r"lock.* or tag"),
    ("(d)(5)", "Stored energy", r"stored energy"),
    ("(d)(6)", "Verification of isolation", r"verif"),
]

#: what each paragraph asks for beyond its heading
ASKS = {
    "(c)(9)": ["affected"],  # "Affected employees shall be notified ... before the controls are applied"
    "(d)(1)": ["type and magnitude", "hazard", "control it", "before the machine is turned off"],
    "(d)(2)": [
        "good order",
        "normal stopping procedure",
    ],  # "An orderly shutdown must be utilized"; Appendix A (3)
    "(d)(3)": [
        "every energy isolating device that is needed"
    ],  # "All energy isolating devices that are needed"
    "(d)(4)": [
        "each authorised person",
        "their own",
        "each isolating device",
        "held off",
    ],  # (d)(4)(i), (ii); App. A (5)
    "(d)(5)": [
        "relieve, disconnect, block or restrain",
        "build up again",
        "keep verifying until the work is done",
    ],
    "(d)(6)": ["nobody is exposed", "try the start control", "only then does the work start"],  # App. A (7)
}

#: paragraph (e), with Appendix A, restoring equipment to service, (3), in between
RETURN = [
    (
        "(e)(1)",
        ["tools and parts out", "components whole"],
    ),  # nonessential items removed, operationally intact
    ("(e)(2)(i)", ["everyone is clear"]),  # all employees safely positioned or removed
    ("Appendix A", ["controls in neutral"]),  # (3) verify that the controls are in neutral
    ("(e)(3)", ["each by the person who put it on"]),  # removed by the employee who applied the device
    ("(e)(2)(ii)", ["affected", "after the locks are off and before the machine is started"]),
]

#: paragraph (f)(1), testing or positioning
POSITIONING = [
    ("(f)(1)(i)", ["clear the machine of tools and materials"]),
    ("(f)(1)(ii)", ["people out"]),
    ("(f)(1)(iii)", ["take off the locks"]),
    ("(f)(1)(iv)", ["energise, and test or position"]),
    ("(f)(1)(v)", ["de-energise everything", "the whole order of the steps again"]),
]


@pytest.fixture(params=[(), SOURCES, WHOLE], ids=["no sources", "with gaps", "whole"])
def page(request: pytest.FixtureRequest) -> Page:
    """The order of steps must not depend on what the register holds."""
    return read(reminder_page(environment([TEMPLATES]), ReminderSheet("C-0003", ELEVATOR, request.param)))


def test_the_steps_stand_in_the_sequence_of_paragraph_d(page: Page) -> None:
    steps = page.lists["lockout-steps"]
    assert [re.findall(r"\([a-z]\)\(\d+\)", step)[-1] for step in steps] == [
        paragraph for paragraph, *_ in SEQUENCE
    ]
    for step, (_, heading, stem) in zip(steps, SEQUENCE, strict=True):
        assert re.search(stem, heading, re.IGNORECASE)
        assert re.search(stem, step, re.IGNORECASE), step


def test_each_step_asks_for_what_its_paragraph_asks(page: Page) -> None:
    for step, (paragraph, *_) in zip(page.lists["lockout-steps"], SEQUENCE, strict=True):
        for words in ASKS[paragraph]:
            assert words in step.lower(), (paragraph, words)


def test_controls_go_back_to_off_after_the_try_as_appendix_a_cautions(page: Page) -> None:
    """Appendix A, caution after (7): return controls to neutral or off after verifying the isolation."""
    verify = page.lists["lockout-steps"][6].lower()
    assert (
        verify.index("try the start control")
        < verify.index("controls back to off")
        < verify.index("work start")
    )


def test_nobody_works_before_isolation_is_verified(page: Page) -> None:
    """(d)(6): verified prior to starting work; no earlier step speaks of starting it."""
    assert all("work start" not in step.lower() for step in page.lists["lockout-steps"][:6])


@pytest.mark.parametrize(("name", "steps"), [("return-steps", RETURN), ("positioning-steps", POSITIONING)])
def test_return_to_service_and_positioning_follow_their_paragraphs(
    page: Page, name: str, steps: list[tuple[str, list[str]]]
) -> None:
    for step, (paragraph, wanted) in zip(page.lists[name], steps, strict=True):
        assert step.endswith(paragraph)
        for words in wanted:
            assert words in step.lower(), (paragraph, words)


def test_groups_contractors_and_shift_changes_are_as_in_paragraph_f(page: Page) -> None:
    """(f)(3)(ii)(A) to (D) and (f)(4)."""
    group, contractors, shift = page.lists["group-rules"]
    for words in (
        "one authorised person with primary responsibility",
        "exposed",
        "personal lock on the group box",
    ):
        assert words in group
    assert group.endswith("(f)(3)")
    assert "one coordinator" in contractors
    assert contractors.endswith("(f)(3)(ii)(C)")
    assert "protection never lapses" in shift
    assert shift.endswith("(f)(4)")
