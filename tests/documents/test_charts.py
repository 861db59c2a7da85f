"""The chart says in print what the tables say, the same every time."""

from __future__ import annotations

import hashlib
import os
import re
import subprocess
import sys
from dataclasses import replace
from datetime import timedelta

import pytest
from matplotlib.figure import Figure
from matplotlib.text import Text
from tests.documents.plant import series
from tests.documents.reading import read

from takeup.documents.charts import chart, drawing, drawn_limits, picture
from takeup.documents.charttext import Unmeasured
from takeup.documents.sheets import StrandSeries

NAMES = {
    "case": "hardened case",
    "takeup": "end of take-up",
    "bushing": "bushing wall",
    "conveyor": "sprocket fit",
}


def drawn(one=None, title="Strand BE-31-A", description="Five surveys.") -> str:
    return chart(one or series(), lambda code: NAMES.get(code, code), title, description)


def several() -> list[StrandSeries]:
    """Charts of every build: with a forecast, open to the right, without one, bare, far above its limit."""
    whole = series()
    forecast = whole.forecast
    assert forecast is not None
    bare = {"forecast": None, "limits": (), "plan_percent": None, "hours_now": None}
    return [
        whole,
        replace(whole, strand="open", forecast=replace(forecast, hours_late=None, on_late=None)),
        replace(whole, strand="none", forecast=None),
        replace(whole, strand="bare", surveys=whole.surveys[:1], **bare),
        replace(
            whole, surveys=tuple(replace(one, wear_percent=one.wear_percent * 3) for one in whole.surveys)
        ),
    ]


def digests() -> list[str]:
    """SHA-256 of every one of :func:`several`."""
    return [hashlib.sha256(drawn(one).encode()).hexdigest() for one in several()]


def test_the_same_series_gives_the_same_bytes_in_any_order_of_charts() -> None:
    """The figure is used again, so whatever a chart left in it would show in the next."""
    first = digests()
    assert len(set(first)) == len(first)
    backwards = [hashlib.sha256(drawn(one).encode()).hexdigest() for one in reversed(several())]
    assert backwards == first[::-1]
    for one, digest in zip(several(), first, strict=True):
        assert [hashlib.sha256(drawn(one).encode()).hexdigest() for _ in range(2)] == [digest, digest]


def test_a_text_that_is_not_measured_stands_where_matplotlib_puts_one_that_is(monkeypatch) -> None:
    """Checked against matplotlib's own layout of the same texts, to the byte."""
    unmeasured = digests()
    measured = 0

    def draw(text, renderer) -> None:
        nonlocal measured
        measured += 1
        own = Text(
            *text.get_position(),
            text.get_text(),
            color=text.get_color(),
            fontproperties=text.get_fontproperties(),
            horizontalalignment=text.get_horizontalalignment(),
            rotation=text.get_rotation(),
            rotation_mode=text.get_rotation_mode(),
        )
        own.set_figure(Figure(dpi=72))
        own.draw(renderer)

    monkeypatch.setattr(Unmeasured, "draw", draw)
    assert digests() == unmeasured
    assert measured


def test_another_process_gives_the_same_bytes() -> None:
    code = "from tests.documents.test_charts import digests; print(*digests())"
    done = subprocess.run(
        [sys.executable, "-c", code],
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path), "PYTHONHASHSEED": "7", "LC_ALL": "C"},
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.split() == digests()


def test_a_drawing_stays_when_only_the_calendar_and_the_meter_move() -> None:
    week = timedelta(days=7)
    one = replace(series(), hours_now=5600.0)
    assert one.forecast is not None
    assert one.forecast.on_early is not None
    assert one.hours_as_of is not None
    later = replace(
        one,
        hours_now=5750.0,
        hours_as_of=one.hours_as_of + week,
        next_survey_on=one.hours_as_of + 2 * week,
        forecast=replace(one.forecast, on_early=one.forecast.on_early + week),
    )
    name = NAMES.__getitem__
    assert picture(later, name) == picture(one, name)
    assert drawing(picture(later, name)) in drawn(later)
    assert drawn(later) != drawn(one)


@pytest.mark.parametrize(
    ("hours", "shown"), [(None, False), (5500.0, False), (5600.0, True), (7500.0, True), (90_000.0, False)]
)
def test_the_meter_stands_between_the_last_survey_and_the_end_of_the_chart(hours, shown) -> None:
    text = drawn(replace(series(), hours_now=hours))
    assert (">meter now</text>" in text) is shown
    if shown:  # its hours, read back from where it stands beside two surveys
        place = float(re.findall(r'd="M ([\d.]+) [\d.]+ V', text)[0])
        marks = [float(x) for x in re.findall(r'<use [^>]*x="([\d.]+)"', text)]
        known = sorted(zip(sorted(marks), sorted(point.hours for point in series().surveys), strict=True))
        (x0, h0), (x1, h1) = known[0], known[-1]
        assert h0 + (place - x0) * (h1 - h0) / (x1 - x0) == pytest.approx(hours, abs=1)


@pytest.mark.parametrize("level", [1.969, 2.625, 3.81])
def test_a_forecast_of_a_limit_beyond_the_governing_one_stays_inside_the_chart(level) -> None:
    forecast = series().forecast
    assert forecast is not None
    one = replace(series(), forecast=replace(forecast, level_percent=level))
    shown = picture(one, NAMES.__getitem__ if level < 3 else str)
    assert shown.ahead is not None
    assert all(shown.low <= percent <= shown.high for _, percent in shown.ahead.path)
    assert all(0 <= hours <= shown.right for hours, _ in shown.ahead.path)
    assert [kept.percent for kept in shown.levels if kept.percent == level]


def test_a_name_with_a_dollar_is_no_formula() -> None:
    assert ">a $x^2$ limit 1.97 %</text>" in chart(series(), lambda _: "a $x^2$ limit", "t", "d")


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
