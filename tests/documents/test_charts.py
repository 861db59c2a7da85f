"""The chart says in print what the tables say, the same every time."""

from __future__ import annotations

import re
from dataclasses import replace

from tests.documents.plant import series
from tests.documents.reading import read

from takeup.documents.charts import chart, drawn_limits

NAMES = {
    "case": "hardened case",
    "takeup": "end of take-up",
    "bushing": "bushing wall",
    "conveyor": "sprocket fit",
}


def drawn(one=None, title="Strand BE-31-A", description="Five surveys.") -> str:
    return chart(one or series(), lambda code: NAMES.get(code, code), title, description)


def test_the_same_series_gives_the_same_bytes() -> None:
    first = drawn()
    drawn(replace(series(), strand="another", forecast=None))
    assert drawn() == first


def test_another_reading_gives_another_chart() -> None:
    points = series().surveys
    changed = replace(series(), surveys=(*points[:-1], replace(points[-1], wear_percent=1.560)))
    assert drawn(changed) != drawn()


def test_limit_lines_bear_their_names_and_values() -> None:
    text = drawn()
    for words in ("hardened case 1.97 %", "end of take-up 2.54 %", "bushing wall 2.62 %", "plan line 1.48 %"):
        assert f">{words}</text>" in text


def test_limits_far_above_what_governs_are_left_to_the_table() -> None:
    names = [line.name for line in drawn_limits(series())]
    assert names == ["case", "takeup", "bushing"]
    assert "3.81" not in drawn()


def test_early_middle_and_late_are_marked_and_an_open_late_bound_says_so() -> None:
    text = drawn()
    for words in ("early", "middle", "late"):
        assert f">{words}</text>" in text
    forecast = series().forecast
    assert forecast is not None
    assert ">late: open</text>" in drawn(
        replace(series(), forecast=replace(forecast, hours_late=None, on_late=None))
    )


def test_every_survey_has_its_uncertainty_bar() -> None:
    with_bars = drawn()
    points = tuple(replace(point, uncertainty_percent=0.0) for point in series().surveys)
    assert drawn(replace(series(), surveys=points)) != with_bars


def test_it_reads_without_colour() -> None:
    """Black, white and greys only: red, green and blue of every colour are equal."""
    for colour in re.findall(r"#([0-9a-f]{6})", drawn()):
        assert colour[:2] == colour[2:4] == colour[4:], colour
    assert not re.search(r"(fill|stroke): (?!none|#)[a-z]", drawn())


def test_a_screen_reader_gets_title_and_description() -> None:
    text = drawn(description="Wear <b> & more")
    page = read(text)
    assert 'role="img"' in text
    labelled = re.search(r'aria-labelledby="([^"]+)"', text)
    assert labelled is not None
    assert set(labelled[1].split()) <= set(page.ids)
    assert "<desc" in text
    assert "Wear <b> & more" in page.text


def test_two_charts_on_one_page_share_no_id() -> None:
    first = read(drawn())
    second = read(drawn(replace(series(), strand="BE-31-B"), title="Strand BE-31-B"))
    assert first.ids
    assert not set(first.ids) & set(second.ids)


def test_text_stays_text_and_nothing_is_fetched() -> None:
    text = drawn(title="Strand <script>alert(1)</script>")
    assert "<script" not in text
    assert "http" not in text
    assert "<image" not in text
    assert re.findall(r"url\(([^#)][^)]*)", text) == []


def test_a_life_with_one_survey_and_nothing_else_can_be_drawn() -> None:
    one = replace(
        series(), surveys=series().surveys[:1], forecast=None, limits=(), plan_percent=None, hours_now=None
    )
    assert read(drawn(one)).open_left == []
