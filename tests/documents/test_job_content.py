"""What the trade wants on the order of each job, looked up on the page that a fitter holds.

Each row names where it comes from: *common practice, no source*, or the publication.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import pytest
from tests.documents.plant import DRAG, ELEVATOR, PRACTICE, TEMPLATES, finding, order, orders, reason
from tests.documents.reading import Page, read

from takeup.derive.vocabulary import VOCABULARY
from takeup.documents.environment import environment
from takeup.documents.pages import order_page
from takeup.documents.sheets import Duration, OrderSheet
from takeup.model import Job, Urgency

ENV = environment([TEMPLATES])
SHEETS = {sheet.order.job: sheet for sheet in orders()}

CP = "common practice, no source"
OSHA = "29 CFR 1910.147"
PERMIT_SPACE = "29 CFR 1910.146, definition of a permit space"
NAVY = "MIL-HDBK-1164, p. 236 and Table 48"
FORKLIFT = "US Army TM 10-3930-671-24: 13 pins are 12 pitches; pairs are replaced together"
TAPES = "directive 2014/32/EU, annex X, MI-008: classes of tapes"

#: where on the page a reader looks, from one heading to the next
TOP, WHY, BEFORE = (
    ("Work order", " Why "),
    (" Why ", " Before the work "),
    (" Before the work ", " What to do "),
)
STEPS, TAKES = (" What to do ", " What it takes "), (" What it takes ", " Good when ")
GOOD = (" Good when ", " Record at close-out ")
RECORD = (" Record at close-out ", " Signatures ")
SIGN = (" Signatures ", " What this rests on ")


@cache
def page_of(sheet: OrderSheet) -> Page:
    return read(order_page(ENV, sheet))


def looked_up(job: Job, place: tuple[str, str]) -> str:
    return page_of(SHEETS[job]).section(*place)


#: (job, place on the page, words that must stand there, source)
CONTENT = [
    (Job.MEASURE, TOP, "Plan. To be planned", CP),
    (Job.MEASURE, WHY, "its next survey was due at 5600 run hours", CP),
    (Job.MEASURE, BEFORE, "every turn goes by the sequence for testing and positioning", f"{OSHA} (f)(1)"),
    (Job.MEASURE, BEFORE, "the whole lockout is done again after it", f"{OSHA} (f)(1)(v)"),
    (Job.MEASURE, STEPS, "Clean the joints of each span", CP),
    (Job.MEASURE, STEPS, "the same pull every time", CP),
    (Job.MEASURE, STEPS, "painted marks of the last survey", CP),
    (Job.MEASURE, STEPS, "at least four, spread evenly round each strand", CP),
    (Job.MEASURE, STEPS, "an even number of pitches", CP),
    (Job.MEASURE, STEPS, "thirteen pins are twelve pitches. Count aloud, twice", FORKLIFT),
    (Job.MEASURE, STEPS, "Never lay the tape round a sprocket", CP),
    (Job.MEASURE, STEPS, "all strands of the set, on the same day with the same tape", CP),
    (Job.MEASURE, STEPS, "temperature of the chain and of the tape", CP),
    (Job.MEASURE, STEPS, "take-up travel, left and right", CP),
    (Job.MEASURE, STEPS, "lag between the strands with a square", CP),
    (Job.MEASURE, STEPS, "tooth gauge on the sprockets, and photograph one joint", CP),
    (Job.MEASURE, TAKES, "accuracy class II", TAPES),
    (Job.MEASURE, TAKES, "calipers, tooth gauge, square, thermometer, paint for the marks, camera", CP),
    (Job.MEASURE, TAKES, "People 2", CP),
    (Job.MEASURE, TAKES, "2.5 h = 0.50 h + 0.25 h × 8 marks; default, common practice, no source", CP),
    (Job.MEASURE, GOOD, "At least four marks on each strand, with an even count", CP),
    (Job.MEASURE, GOOD, "agree within 2 mm", CP),
    (Job.MEASURE, GOOD, "No mark is shorter than last time by more than the uncertainty", CP),
    (Job.MEASURE, RECORD, "every raw reading: strand, mark, pitches counted, length", CP),
    (Job.MEASURE, RECORD, "never the percent alone", CP),
    (Job.MEASURE, RECORD, "temperatures of chain and tape, class of the tape, method, who measured", CP),
    (Job.LUBRICATE, BEFORE, "Locked out for lubrication by hand", "29 CFR 1910.219 (p)(7)"),
    (Job.LUBRICATE, BEFORE, "never by hand into a moving nip", CP),
    (Job.LUBRICATE, BEFORE, "dry by decision is never lubricated", NAVY),
    (Job.LUBRICATE, STEPS, "Lock out by the site's written procedure, unless", CP),
    (Job.LUBRICATE, STEPS, "Look first, before lubricating: joints, seals, spillage", CP),
    (Job.LUBRICATE, STEPS, "the lubricant and the quantity planned", CP),
    (Job.LUBRICATE, STEPS, "Wipe off the surplus", CP),
    (Job.LUBRICATE, STEPS, "every joint that purges dirty grease", CP),
    (Job.LUBRICATE, TAKES, "HD-07-A ISO VG 220 mineral oil, 48.0 mL planned", CP),
    (Job.LUBRICATE, TAKES, "half an hour to one and a half hours", CP),
    (Job.LUBRICATE, GOOD, "Between 24.0 mL and 96.0 mL went into HD-07-A", CP),
    (Job.LUBRICATE, GOOD, "joints are wetted", CP),
    (Job.LUBRICATE, RECORD, "a blank is not a nought", CP),
    (Job.LUBRICATE, RECORD, "lubricant, method, run hours, who", CP),
    (Job.LUBRICATE, RECORD, "joints that refused", CP),
    (Job.ADJUST_TAKEUP, BEFORE, "Support and clamp the chain on both sides before it is opened", CP),
    (Job.ADJUST_TAKEUP, BEFORE, "Hydraulic take-ups creep", f"{OSHA} (d)(5)(ii)"),
    (Job.ADJUST_TAKEUP, STEPS, "Measure first", CP),
    (Job.ADJUST_TAKEUP, STEPS, "clearance at boot and casing", CP),
    (Job.ADJUST_TAKEUP, STEPS, "only a chain worth keeping is shortened", CP),
    (Job.ADJUST_TAKEUP, STEPS, "Release the stored tension of the take-up", f"{OSHA} (d)(5)(i)"),
    (Job.ADJUST_TAKEUP, STEPS, "on both sides of the place where it will be opened", CP),
    (Job.ADJUST_TAKEUP, STEPS, "the same on every strand of the set", CP),
    (Job.ADJUST_TAKEUP, STEPS, "only an even number; attachments must keep their spacing", CP),
    (Job.ADJUST_TAKEUP, STEPS, "maker's own pins and retainers", CP),
    (Job.ADJUST_TAKEUP, STEPS, "Set both screws equal", CP),
    (Job.ADJUST_TAKEUP, STEPS, "Turn one full loop by the sequence for testing and positioning", OSHA),
    (Job.ADJUST_TAKEUP, STEPS, "measure every mark, with the new count of pitches", CP),
    (Job.ADJUST_TAKEUP, TAKES, "connecting links for each strand", CP),
    (Job.ADJUST_TAKEUP, TAKES, "retainers", CP),
    (Job.ADJUST_TAKEUP, TAKES, "People 3 to 4", CP),
    (Job.ADJUST_TAKEUP, TAKES, "Planned for 8.0 h of the machine at the most; default, common practice", CP),
    (Job.ADJUST_TAKEUP, TAKES, "3 to 8 hours", CP),
    (Job.ADJUST_TAKEUP, GOOD, "screws are equal within 2 mm", CP),
    (Job.ADJUST_TAKEUP, GOOD, "sags by 2 to 4 % of its span", CP),
    (Job.ADJUST_TAKEUP, GOOD, "as reckoned (154.8 mm, so that 216.8 mm are left), within 10 mm", CP),
    (Job.ADJUST_TAKEUP, RECORD, "pitches removed on each strand, and pitches now in the strand", CP),
    (Job.ADJUST_TAKEUP, RECORD, "take-up travel before and after", CP),
    (Job.ADJUST_TAKEUP, RECORD, "elongation at that moment", CP),
    (Job.INSPECT_ALIGNMENT, BEFORE, "Where retainers are being cut, or pin heads are nearly gone", CP),
    (Job.INSPECT_ALIGNMENT, STEPS, "which faces rub, on which side, at head and at tail", CP),
    (Job.INSPECT_ALIGNMENT, STEPS, "1 mm per metre", CP),
    (Job.INSPECT_ALIGNMENT, STEPS, "sprocket faces are in line within 3 mm", CP),
    (Job.INSPECT_ALIGNMENT, STEPS, "Check bearings", CP),
    (Job.INSPECT_ALIGNMENT, STEPS, "Check tracks, guides", CP),
    (Job.INSPECT_ALIGNMENT, STEPS, "lag between them with a square", CP),
    (Job.INSPECT_ALIGNMENT, STEPS, "Correct the cause", CP),
    (Job.INSPECT_ALIGNMENT, STEPS, "Run one loop by the sequence for testing and positioning", OSHA),
    (Job.INSPECT_ALIGNMENT, TAKES, "2 millwrights", CP),
    (Job.INSPECT_ALIGNMENT, TAKES, "4 to 10 hours", CP),
    (Job.INSPECT_ALIGNMENT, GOOD, "not back after 24 run hours", CP),
    (Job.INSPECT_ALIGNMENT, RECORD, "numbers as found and as left", CP),
    (Job.INSPECT_ALIGNMENT, RECORD, "the cause, in words", CP),
    (Job.INVESTIGATE_FRACTURE, TOP, "Stop now", CP),
    (Job.INVESTIGATE_FRACTURE, BEFORE, "a barrier on the restart", CP),
    (Job.INVESTIGATE_FRACTURE, BEFORE, "Neither tells you that its neighbours are sound", CP),
    (Job.INVESTIGATE_FRACTURE, STEPS, "Photograph everything in place before anything is moved", CP),
    (Job.INVESTIGATE_FRACTURE, STEPS, "dry, unbrushed and apart, each in its own bag", CP),
    (Job.INVESTIGATE_FRACTURE, STEPS, "where on the loop", CP),
    (Job.INVESTIGATE_FRACTURE, STEPS, "load, trips of the drive", CP),
    (Job.INVESTIGATE_FRACTURE, STEPS, "jams, tramp iron, change of material", CP),
    (Job.INVESTIGATE_FRACTURE, STEPS, "Measure both strands", CP),
    (Job.INVESTIGATE_FRACTURE, STEPS, "sectioned: hardness, depth of the case", CP),
    (Job.INVESTIGATE_FRACTURE, STEPS, "reduced load, weekly survey", CP),
    (Job.INVESTIGATE_FRACTURE, STEPS, "change the system, renew the whole set", CP),
    (Job.INVESTIGATE_FRACTURE, TAKES, "2 fitters, the responsible engineer, and a metallurgist", CP),
    (Job.INVESTIGATE_FRACTURE, TAKES, "one shift on the machine, and 3 to 10 days for the laboratory", CP),
    (Job.INVESTIGATE_FRACTURE, GOOD, "named with evidence, or stated as unknown with the precautions", CP),
    (Job.INVESTIGATE_FRACTURE, RECORD, "the cause found, in words", CP),
    (Job.INVESTIGATE_FRACTURE, RECORD, "where the parts are kept", CP),
    (Job.INVESTIGATE_FRACTURE, RECORD, "restart authority", CP),
    (Job.INVESTIGATE_FRACTURE, SIGN, "Restart authority", CP),
    (Job.REPLACE_SET, BEFORE, "Hot work, lifting, and work at height", CP),
    (Job.REPLACE_SET, BEFORE, "Bad air, engulfment, walls that close in", PERMIT_SPACE),
    (Job.REPLACE_SET, STEPS, "Weeks before: check the delivery against the order", CP),
    (Job.REPLACE_SET, STEPS, "Pitch, count of pitches, hand, match tags", CP),
    (Job.REPLACE_SET, STEPS, "the length of each section under the measuring load", CP),
    (Job.REPLACE_SET, STEPS, "Clear the material", CP),
    (Job.REPLACE_SET, STEPS, "block, support and clamp both runs", CP),
    (Job.REPLACE_SET, STEPS, "Pull the old chain out with the new one behind it", CP),
    (Job.REPLACE_SET, STEPS, "never one strand alone", FORKLIFT),
    (Job.REPLACE_SET, STEPS, "Gauge every sprocket, both faces; keep, reverse or renew", NAVY),
    (
        Job.REPLACE_SET,
        STEPS,
        "tracks, guides, wear strips and boot; renew what is worn, and align the shafts",
        CP,
    ),
    (Job.REPLACE_SET, STEPS, "every retainer and the links' direction", CP),
    (Job.REPLACE_SET, STEPS, "Set the screws equal; note the take-up travel", CP),
    (Job.REPLACE_SET, STEPS, "Measure the length as fitted at every mark", CP),
    (Job.REPLACE_SET, STEPS, "hand power or barring gear, by the sequence for testing and positioning", OSHA),
    (Job.REPLACE_SET, STEPS, "Run empty for an hour, then loaded. After 8, 24 and 100 run hours", CP),
    (Job.REPLACE_SET, STEPS, "look for rub, take up slack, tighten attachments, and measure", CP),
    (Job.REPLACE_SET, TAKES, "one matched set of chain for all strands", CP),
    (Job.REPLACE_SET, TAKES, "connecting links for each strand", CP),
    (Job.REPLACE_SET, TAKES, "spare section of 3 m", CP),
    (Job.REPLACE_SET, TAKES, "attachments; bolts", CP),
    (Job.REPLACE_SET, TAKES, "sprockets or rims", CP),
    (Job.REPLACE_SET, TAKES, "rated hoists, chain clamps, pin press, soft drifts, come-alongs", CP),
    (Job.REPLACE_SET, TAKES, "4 to 6, and a rigger", CP),
    (Job.REPLACE_SET, TAKES, "24.3 h = 6.00 h + 0.25 h per m × 73.2 m (BE-31-A 36.6 m, BE-31-B 36.6 m)", CP),
    (Job.REPLACE_SET, GOOD, "as fitted is measured at every mark", CP),
    (Job.REPLACE_SET, GOOD, "differ by 0.05 % of their length or less", CP),
    (Job.REPLACE_SET, GOOD, "No rub after one loop", CP),
    (Job.REPLACE_SET, GOOD, "no more than a tenth of its travel used", CP),
    (Job.REPLACE_SET, RECORD, "serial numbers, pitch, pitches in each strand, length as fitted", CP),
    (Job.REPLACE_SET, RECORD, "take-up travel at the start, run hours at fitting", CP),
    (Job.REPLACE_SET, RECORD, "each sprocket: gauge depth, reversed or renewed", CP),
    (Job.REPLACE_SET, RECORD, "old chain's last elongation, and one joint of it sectioned", CP),
    (Job.REPLACE_SET, RECORD, "the new chain in the strand register", CP),
    (Job.SPROCKETS, STEPS, "both faces of the teeth on all sprockets, the driver first", CP),
    (
        Job.SPROCKETS,
        STEPS,
        "reverse the sprocket; otherwise renew rims or sprockets, in sets and for all",
        NAVY,
    ),
    (Job.SPROCKETS, STEPS, "the other face is sound and the hub allows it", CP),
    (Job.SPROCKETS, STEPS, "teeth of paired sprockets in line across the shaft", CP),
    (
        Job.SPROCKETS,
        STEPS,
        "turn over the chain if only one edge of the sidebars is worn",
        "UFGS 15502N, 2.11.3.1",
    ),
    (Job.SPROCKETS, TAKES, "4 to 12 hours for each sprocket", CP),
    (Job.SPROCKETS, TAKES, "12.0 h = 12.00 h at the most × 1 sprocket", CP),
    (Job.SPROCKETS, GOOD, "in line within 1 mm", CP),
    (Job.SPROCKETS, RECORD, "gauge depth of each sprocket", CP),
    (Job.SPROCKETS, RECORD, "reversed or renewed, and which", CP),
    (Job.SPROCKETS, RECORD, "how many chains this sprocket has served", CP),
    (Job.CORRECT_DATA, TOP, "No stop, unless something has to be measured again", CP),
    (Job.CORRECT_DATA, STEPS, "do not guess", CP),
    (Job.CORRECT_DATA, GOOD, "with who, when and on what evidence", CP),
    (Job.CORRECT_DATA, GOOD, "The old row is still on record", CP),
]


@pytest.mark.parametrize(("job", "place", "words", "source"), CONTENT)
def test_the_order_says_what_the_trade_wants_of_it(
    job: Job, place: tuple[str, str], words: str, source: str
) -> None:
    assert words in looked_up(job, place), f"wanted by: {source}"


#: (job, steps by a word of each, in the order in which they are done, source)
IN_ORDER = [
    (
        Job.MEASURE,
        ("Lock out", "Clean", "tension", "Count aloud", "Measure with", "temperature", "tooth gauge"),
        CP,
    ),
    (Job.LUBRICATE, ("Lock out", "Look first", "Clean", "quantity planned", "Wipe off", "purges"), CP),
    (
        Job.ADJUST_TAKEUP,
        (
            "Lock out",
            "Measure first",
            "Check the sum",
            "Release the stored",
            "Support and clamp",
            "retainers first",
            "Remove the number",
            "Join",
            "Set both screws",
            "Turn one full loop",
            "once more",
        ),
        CP,
    ),
    (
        Job.INSPECT_ALIGNMENT,
        ("Lock out", "faces rub", "square to", "bearings", "tracks", "lag", "Correct"),
        CP,
    ),
    (
        Job.INVESTIGATE_FRACTURE,
        (
            "Make safe",
            "Photograph",
            "Keep the parts",
            "on the loop",
            "trips",
            "jams",
            "whole system",
            "sectioned",
            "Name the cause",
            "Decide",
            "signs the restart",
        ),
        CP,
    ),
    (
        Job.REPLACE_SET,
        (
            "Weeks before",
            "Lock out",
            "Clear",
            "Measure the old",
            "block, support and clamp",
            "Pull the old chain",
            "Gauge every",
            "tracks",
            "Join",
            "retainer",
            "screws equal",
            "Turn one loop",
            "Run empty",
        ),
        CP,
    ),
    (Job.SPROCKETS, ("Lock out", "Gauge", "support and clamp", "reverse the", "in line", "screws equal"), CP),
]


@pytest.mark.parametrize(("job", "steps", "source"), IN_ORDER)
def test_steps_stand_in_the_order_in_which_they_are_done(
    job: Job, steps: tuple[str, ...], source: str
) -> None:
    text = looked_up(job, STEPS)
    places = [text.index(word) for word in steps]
    assert places == sorted(places), f"wanted by: {source}"


OPENS_THE_CHAIN = (Job.REPLACE_SET, Job.ADJUST_TAKEUP, Job.SPROCKETS, Job.INVESTIGATE_FRACTURE)


@pytest.mark.parametrize("job", OPENS_THE_CHAIN)
@pytest.mark.parametrize(
    ("words", "source"),
    [
        ("Support and clamp the chain on both sides before it is opened", CP),
        ("cut its retainers", CP),
        ("Never strike a hardened pin or tooth with a hardened tool: it chips and flies", CP),
        ("soft drifts, bystanders out of line", CP),
        ("dust that can burn cleaned away first, and no hardened part heated", CP),
        ("Never stand in line with a chain under pull", CP),
        ("A backstop or brake is no isolation", "UFGS 15501N, 2.9.10.4"),
        ("block or clamp both runs to the structure", CP),
        ("eye protection and face shield, cut-resistant gloves, toe and hearing protection", CP),
        ("respirator for dust, harness at height, heat gear", CP),
    ],
)
def test_work_that_opens_the_chain_names_its_traps(job: Job, words: str, source: str) -> None:
    assert words in looked_up(job, BEFORE), f"wanted by: {source}"


@pytest.mark.parametrize("job", [job for job in Job if job is not Job.CORRECT_DATA])
def test_boot_casing_and_trough_are_tested_as_confined_spaces(job: Job) -> None:
    """29 CFR 1910.146: hazardous atmosphere, engulfment, converging walls."""
    sheet = replace(SHEETS[job], machine=replace(DRAG, duty=()))
    assert "whether going in is confined-space entry is tested by the site's rule" in page_of(sheet).text


# ---------------------------------------------------------------------------------- findings

#: finding → (what to check, word by word; what not to conclude). Common practice, no source; symptoms of
#: drives agree with MIL-HDBK-1164, Table 48.
FINDINGS: dict[str, tuple[tuple[str, ...], str]] = {
    "cracked_bushing": (
        (
            "all bushings of the strand",
            "tooth roots",
            "tramp",
            "load history",
            "hardness",
            "where the crack began",
        ),
        "one bad link",
    ),
    "cracked_pin": (
        ("beach marks", "fibrous", "bright flat", "both strands", "trips"),
        "neighbouring pins are sound",
    ),
    "broken_pin": (
        ("beach marks", "fibrous", "bright flat", "both strands", "trips"),
        "neighbouring pins are sound",
    ),
    "cracked_sidebar": (
        ("holes", "welds of attachments", "alignment", "corrosion"),
        "weld repair is possible",
    ),
    "broken_sidebar": (
        ("holes", "welds of attachments", "alignment", "corrosion"),
        "weld repair is possible",
    ),
    "broken_roller": (("track", "joints of the chain", "radius", "bores of the rollers"), "only the rollers"),
    "stiff_link": (("by hand after cleaning", "bends both ways", "elongation at that place"), "less worn"),
    "side_rub": (("head and at tail", "square and level", "strand spacing", "lag"), "poor quality"),
    "pin_end_rub": (("retainers", "casing", "tracks"), "matter of looks"),
    "hooked_teeth": (
        ("depth on the gauge", "both faces", "elongation on the same day"),
        "new chain alone cures it",
    ),
    "tooth_tip_wear": (
        ("elongation over nominal", "count of teeth", "packing in the roots"),
        "sprocket is the wrong",
    ),
    "jumping": (
        ("travel left", "elongation", "hooked teeth", "level in the boot"),
        "tightening it is enough",
    ),
    "climbing": (
        ("travel left", "elongation", "hooked teeth", "level in the boot"),
        "tightening it is enough",
    ),
    "loose_pin": (("flats of the pins", "wear of the holes", "worn all round"), "weld"),
    "turned_pin": (("flats of the pins", "wear of the holes", "worn all round"), "weld"),
    "missing_retainer": (("the whole strand for others",), "the only one"),
    "pitting": (("load side", "joints", "wear rate has changed"), "only on the surface"),
    "rust": (("load side", "joints", "wear rate has changed"), "only on the surface"),
    "seal_missing": (("share of the joints", "wear rate since"), "other seals still protect"),
    "seal_crushed": (("share of the joints", "wear rate since"), "other seals still protect"),
    "flat_roller": (("turn by hand", "scrape marks", "clearance of the bores"), "elongation is high too"),
    "sloppy_roller": (("turn by hand", "scrape marks", "clearance of the bores"), "elongation is high too"),
    "thin_sidebar": (("height left", "both edges", "liner"), "elongation tells of this"),
    "bent_attachment": (("lag", "boot", "clearance", "bolts"), "forgotten"),
    "loose_bucket": (("lag", "boot", "clearance", "bolts"), "forgotten"),
    "takeup_at_end": (
        ("elongation first", "how many pitches may be removed", "both sides equal"),
        "worn out",
    ),
    "takeup_uneven": (("lag by square", "screws", "both strands"), "evened by force"),
    "strands_uneven": (("lag by square", "screws", "both strands"), "evened by force"),
    "slack": (("longer without wear in the joint", "stretch from overload"), "normal wear"),
    "packing": (
        ("roots", "boot", "rollers", "measure again when clean"),
        "readings taken before cleaning are good",
    ),
    "build_up": (
        ("roots", "boot", "rollers", "measure again when clean"),
        "readings taken before cleaning are good",
    ),
    "noise_popping": (("which link it is", "counting once round the loop"), "wants oil"),
    "knock": (("which link it is", "counting once round the loop"), "wants oil"),
    "hot_joint": (("temperature", "colour", "hardness", "is soft"), "hardness is unchanged"),
    "discoloured": (("temperature", "colour", "hardness", "is soft"), "hardness is unchanged"),
    "wrong_direction": (("end of each link leads", "152.4 mm and 153.67 mm"), "no harm"),
    "mixed_links": (("end of each link leads", "152.4 mm and 153.67 mm"), "no harm"),
}


@pytest.mark.parametrize("word", FINDINGS)
def test_a_finding_brings_its_checks_and_what_not_to_conclude_onto_the_order(word: str) -> None:
    checks, beware = FINDINGS[word]
    raised = order(
        "C-0009", Job.INSPECT_ALIGNMENT, "BE-31", ELEVATOR, Urgency.THIS_WEEK,
        reason("abnormal_finding", "BE-31-A", "soon", *finding(word, word, "BE-31-A", "soon")),
    )  # fmt: skip
    seen = read(order_page(ENV, OrderSheet(raised, ELEVATOR))).section(" What was seen ", " Before the work ")
    what_to_check = seen.split("Check: ", 1)[1].split("Do not conclude: ", 1)[0]
    assert [words for words in checks if words not in what_to_check] == []
    assert beware in seen.split("Do not conclude: ", 1)[1]


def test_every_word_for_what_is_wrong_has_its_checks_here() -> None:
    """All of the vocabulary but the words of this program's own."""
    own = {"nothing_found", "unclassified", "scratched_joint"}
    assert set(VOCABULARY) - own == set(FINDINGS)


# ---------------------------------------------------------------- what the larger and the smaller order say


def test_a_job_taken_in_and_the_one_that_takes_it_in_name_each_other() -> None:
    larger, smaller = SHEETS[Job.REPLACE_SET], SHEETS[Job.MEASURE]
    assert "Takes in C-0005 measure the chain: a step of this order" in looked_up(Job.REPLACE_SET, TOP)
    assert "Part of order C-0003: done as a step of it" in looked_up(Job.MEASURE, TOP)
    assert f"{smaller.order.number}.html" in page_of(larger).links
    assert f"{larger.order.number}.html" in page_of(smaller).links
    # What is a step of the order is no other job beside it.
    assert "Same visit" not in looked_up(Job.REPLACE_SET, TOP)
    assert "Same visit C-0006 inspect alignment and rub, this week" in looked_up(Job.ADJUST_TAKEUP, TOP)


def test_a_replacement_on_an_old_survey_asks_for_the_measurement_first() -> None:
    top = looked_up(Job.REPLACE_SET, TOP)
    assert "The latest survey of BE-31-B (Mon 3 Nov 2025) is older than its interval, 600 run hours." in top
    assert "Measure before anything is bought or opened: order C-0005." in top
    assert "BE-31-A (" not in top
    fresh = replace(SHEETS[Job.REPLACE_SET], series=SHEETS[Job.REPLACE_SET].series[:1])
    assert "Measure first" not in page_of(fresh).text


@pytest.mark.parametrize(
    ("case", "says"),
    [
        ("silence", "is older than its interval"),
        ("interval_near_limit", "is older than its interval"),
        ("never_measured", "BE-31-A has not been measured since its chain was fitted."),
        ("last_not_usable", "The latest readings of BE-31-A cannot be used."),
        ("after_shortening", "BE-31-A was shortened after its latest survey."),
    ],
)
def test_why_the_measurement_comes_first_is_told_by_its_case(case: str, says: str) -> None:
    sheet = SHEETS[Job.REPLACE_SET]
    late = replace(sheet, series=(replace(sheet.series[0], unmeasured=case),), measured_by=())
    assert says in page_of(late).section(*TOP)
    assert "Measure before anything is bought or opened." in page_of(late).section(*TOP)


def test_when_to_measure_next_stands_on_measuring_and_replacement_orders() -> None:
    assert (
        "Measure next BE-31-A on Tue 17 Mar 2026, at 5753 run hours of this chain;"
        " BE-31-B on Tue 9 Dec 2025, at 4700 run hours of this chain."
    ) in looked_up(Job.REPLACE_SET, TOP)
    measuring = looked_up(Job.MEASURE, TOP)
    assert "Measuring due BE-31-B on Tue 17 Mar 2026, at 5753 run hours of this chain." in measuring
    assert "by the interval so far it falls about 253 run hours after this one" in measuring
    sheet = SHEETS[Job.REPLACE_SET]
    unknown = replace(sheet, series=(replace(sheet.series[0], next_survey_on=None, next_survey_hours=None),))
    assert "Measure next BE-31-A cannot be reckoned" in page_of(unknown).text


def test_the_sprockets_of_a_set_are_told_with_what_follows() -> None:
    takes = looked_up(Job.REPLACE_SET, TAKES)
    assert "At the limit: head A (drive shaft)." in takes
    assert (
        "Unproved, to be gauged before the set is fitted: boot A (tail shaft), tail sprocket of BE-31-B."
        in takes
    )
    table = page_of(SHEETS[Job.REPLACE_SET]).section("by their record", "The limit is a part")
    head = "Head A (drive shaft), under BE-31-A, 12 teeth 5.4 mm on Thu 26 Feb 2026; limit 4.4 mm"
    for words in (
        f"{head} at least 2, since Mon 3 May 2021 no At its limit: reverse it if the other face is sound",
        "limit 4.4 mm 1, since Fri 17 Jan 2025 yes Below its limit, but on its second face",
        "no depth on record; limit 4.4 mm not known: the day it was fitted is not on record no Unproved",
        "Tail sprocket of BE-31-B, 12 teeth no depth on record; no limit known not known not known Unproved",
    ):
        assert words in table
    assert "by their record" not in page_of(SHEETS[Job.MEASURE]).text


def test_the_hours_of_a_job_are_those_of_the_site_where_it_states_them() -> None:
    sheet = SHEETS[Job.REPLACE_SET]
    stated = replace(sheet, duration=Duration(30.0, stated=True))
    assert "Duration 30.0 h, as the register states." in page_of(stated).text
    assert "Basis:" not in page_of(stated).section(*TAKES)
    nobody = page_of(replace(sheet, duration=None)).section(*TAKES)
    assert f"Duration Basis: 6 hours, and a quarter of an hour for each metre of each strand ({CP})" in nobody
    one = replace(sheet, duration=Duration(8.2, False, 6.0, 0.25, 8.9, (PRACTICE,), True, (("A", 8.9),)))
    assert f"8.2 h = 6.00 h + 0.25 h per m × 8.9 m; {PRACTICE}." in page_of(one).text


def test_a_gap_in_the_register_of_energies_is_looked_for_on_the_machine() -> None:
    sheet = SHEETS[Job.CORRECT_DATA]
    gap = reason("register_gap", "DC-12", "no_work")
    page = page_of(replace(sheet, order=replace(sheet.order, reasons=(gap,))))
    assert "with somebody authorised who knows it, its written procedure in hand" in page.section(*STEPS)
    assert "without touching a control or opening a guard" in page.section(*STEPS)
    assert "Ask the person who wrote" not in page.section(*STEPS)
    assert "Go round" not in looked_up(Job.CORRECT_DATA, STEPS)
