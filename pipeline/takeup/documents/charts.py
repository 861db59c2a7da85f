"""The chart of one strand: wear elongation against run hours, its limits, and when the governing one comes.

Black, grey and dashes only, so that it reads in print and to every eye. Text stays text. A chart comes in two
layers. The *drawing* is matplotlib's and shows a :class:`Picture`, nothing else: the same picture gives the
same bytes, in any order of charts and in any process, so a drawing may be kept for as long as its picture
holds (:mod:`takeup.documents.drawings`). Over it stands the one mark that moves with the calendar, the meter.

One line for every kind of stroke and one text for every kind of lettering are used again, on no figure and no
axes: making, clearing and placing axes and their ticks took four fifths of the time of a chart, and measuring
its texts half of the rest.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from html import escape
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from takeup.documents.filters import number
from takeup.documents.sheets import Forecast, LimitLine, StrandSeries

if TYPE_CHECKING:
    from matplotlib.lines import Line2D
    from matplotlib.text import Text

INK, GREY = "#111111", "#6b6b6b"
#: the whole chart and its plot area, in points: left, bottom, width, height
SIZE = (360.0, 230.4)
AREA = (42.5, 34.6, 203.4, 186.6)
NORMAL, NAMES, SMALL = 9.5, 8.5, 8.0
DRAWN_WITH: dict[Any, Any] = {
    "svg.fonttype": "none",
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans"],
    "path.simplify": False,
}
#: Kinds of stroke, in the order they are drawn.
STROKES: dict[str, dict[str, Any]] = {
    "frame": {"color": GREY, "linewidth": 0.6, "solid_capstyle": "projecting"},
    "tick": {"color": INK, "linewidth": 0.6},
    "leader": {"color": GREY, "linewidth": 0.4},
    "plan": {"color": GREY, "linewidth": 0.7, "linestyle": (0, (1.5, 1.5))},
    "limit": {"color": GREY, "linewidth": 0.7, "linestyle": (0, (6, 3))},
    "governing": {"color": INK, "linewidth": 1.0},
    "path": {"color": INK, "linewidth": 1.0, "linestyle": (0, (5, 2))},
    "bar": {"color": INK, "linewidth": 0.7},
    "counted": {"color": INK, "linestyle": "none", "marker": "o", "markersize": 4, "markeredgewidth": 0.8},
    "open": {
        "color": INK,
        "linestyle": "none",
        "marker": "o",
        "markersize": 4,
        "markeredgewidth": 0.8,
        "markerfacecolor": "white",
    },
    "bounds": {"color": INK, "linewidth": 2.4},
    "bound": {"color": INK, "linewidth": 1.2},
}
#: Kinds of lettering.
LETTERING: dict[str, dict[str, Any]] = {
    "across": {"fontsize": NORMAL, "ha": "center"},
    "up": {"fontsize": NORMAL, "ha": "right"},
    "upright": {"fontsize": NORMAL, "ha": "center", "rotation": 90, "rotation_mode": "anchor"},
    "name": {"fontsize": NAMES},
    "governing name": {"fontsize": NAMES, "fontweight": "bold"},
    "bound": {"fontsize": SMALL, "rotation": 45, "rotation_mode": "anchor"},
}

Spot = tuple[float, float]
Ticks = tuple[list[tuple[float, str]], list[tuple[float, str]]]
"""Of the run hours and of the elongations: where each stands in points, and its text."""


@dataclass(frozen=True)
class Mark:
    """One survey on the chart; an open mark is not counted for a rate."""

    hours: float
    percent: float
    uncertainty: float
    counted: bool


@dataclass(frozen=True)
class Level:
    """One line across the chart with its name beside it; ``kind`` is limit, governing or plan."""

    percent: float
    name: str
    kind: str


@dataclass(frozen=True)
class Ahead:
    """The way to the governing limit, and its bounds on that level; ``late`` None means open."""

    path: tuple[Spot, ...]
    level: float
    early: float
    middle: float
    late: float | None


@dataclass(frozen=True)
class Picture:
    """All that a drawing shows, in run hours and percent: no date, nor what the meter says now.

    ``right``, ``low`` and ``high`` are the ends of the axes. ``strand`` names the elements of the drawing,
    so that two on one page never share a name.
    """

    strand: str
    marks: tuple[Mark, ...]
    levels: tuple[Level, ...]
    ahead: Ahead | None
    right: float
    low: float
    high: float

    def x(self, hours: float) -> float:
        """Where run hours lie, in points from the left."""
        return AREA[0] + AREA[2] * hours / self.right

    def y(self, percent: float) -> float:
        """Where an elongation lies, in points from the bottom."""
        return AREA[1] + AREA[3] * (percent - self.low) / (self.high - self.low)


def drawing(shown: Picture) -> str:
    """The drawing of a picture as SVG elements, to stand inside an ``svg`` of :data:`SIZE`."""
    from matplotlib import rc_context
    from matplotlib.backends.backend_svg import RendererSVG

    file = io.StringIO()
    ticks = _ticks(shown)
    strokes = _strokes(shown, ticks)
    with rc_context({**DRAWN_WITH, "svg.hashsalt": f"takeup {shown.strand}"}):
        lines, letters = _pens()
        nothing = dict.fromkeys(("Creator", "Date", "Format", "Type"))
        renderer = RendererSVG(*SIZE, file, metadata=nothing)  # type: ignore[no-untyped-call]
        renderer.open_group("chart")  # type: ignore[no-untyped-call]
        for kind, line in lines.items():
            if kind in strokes:
                line.set_data(*_broken(strokes[kind]))
                line.draw(renderer)
        for kind, spot, text in _texts(shown, ticks):
            letters[kind].set_position(spot)
            letters[kind].set_text(text)
            letters[kind].draw(renderer)
        renderer.close_group("chart")  # type: ignore[no-untyped-call]
        renderer.finalize()  # type: ignore[no-untyped-call]
    return inside(file.getvalue())


def chart(
    series: StrandSeries,
    limit_name: Callable[[str], str],
    title: str,
    description: str,
    draw: Callable[[Picture], str] = drawing,
) -> str:
    """The chart as an SVG element to stand in a page.

    Parameters
    ----------
    series : StrandSeries
        With one survey or more.
    limit_name : callable
        Code of a limit to the words beside its line.
    title, description : str
        What a screen reader says in place of the picture.
    draw : callable
        Where the drawing comes from.
    """
    shown = picture(series, limit_name)
    name = re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-")
    return (
        f'<svg viewBox="0 0 {SIZE[0]:g} {SIZE[1]:g}" role="img"'
        f' aria-labelledby="{name}-title {name}-desc" class="chart">'
        f'<title id="{name}-title">{escape(title)}</title><desc id="{name}-desc">{escape(description)}</desc>'
        f"{draw(shown)}{_meter(shown, series.hours_now)}</svg>"
    )


def picture(series: StrandSeries, limit_name: Callable[[str], str]) -> Picture:
    """What the drawing of a series shows.

    Parameters
    ----------
    series : StrandSeries
        With one survey or more.
    limit_name : callable
        Code of a limit to the words beside its line.
    """
    top = _top(series)
    marks = tuple(
        Mark(point.hours, point.wear_percent, point.uncertainty_percent, point.counted)
        for point in series.surveys
    )
    levels = [
        Level(line.percent or 0.0, limit_name(line.name), "governing" if line.governing else "limit")
        for line in drawn_limits(series)
    ]
    if series.plan_percent is not None and series.plan_percent <= top:
        levels.append(Level(series.plan_percent, "plan line", "plan"))
    levels.sort(key=lambda level: (level.percent, level.name))
    forecast = series.forecast
    ahead = _ahead(forecast) if forecast is not None and forecast.hours_middle > 0 else None
    lowest = min(mark.percent - mark.uncertainty for mark in marks)
    return Picture(
        strand=series.strand,
        marks=marks,
        levels=tuple(levels),
        ahead=ahead,
        # Room to the right of the last survey, where the meter goes on.
        right=max(1.15 * marks[-1].hours, 1.06 * _far_end(ahead) if ahead else 0.0, 1.0),
        low=min(0.0, 1.1 * lowest),
        high=top,
    )


def drawn_limits(series: StrandSeries) -> list[LimitLine]:
    """The limits that fit on the chart; the table lists all. Those far above what governs are left out."""
    top = _top(series)
    return [line for line in series.limits if line.percent is not None and line.percent <= top]


def _top(series: StrandSeries) -> float:
    """The upper end of the elongation axis, in percent."""
    highest = max(point.wear_percent + point.uncertainty_percent for point in series.surveys)
    judged = [line.percent for line in series.limits if line.percent is not None]
    governing = [line.percent for line in series.limits if line.governing and line.percent is not None]
    level = max(governing or judged[:1] or [highest])
    # The forecast may be of a limit beyond the governing one; the names of its bounds stand above it.
    ahead = series.forecast.level_percent if series.forecast is not None else 0.0
    return max(1.35 * level, 1.2 * ahead, 1.15 * highest, 0.5)


def _ahead(forecast: Forecast) -> Ahead:
    """The trend to the governing limit, bent where the case is through."""
    start, level = forecast.from_hours, forecast.level_percent
    middle = start + forecast.hours_middle
    bend = (forecast.bend,) if forecast.bend else ()
    return Ahead(
        path=((start, forecast.from_percent), *bend, (middle, level)),
        level=level,
        early=start + forecast.hours_early,
        middle=middle,
        late=None if forecast.hours_late is None else start + forecast.hours_late,
    )


def _far_end(ahead: Ahead) -> float:
    """How far right the chart goes: the late bound, but never beyond twice the way to the middle."""
    twice = 2 * ahead.middle - ahead.path[0][0]
    return max(ahead.middle, twice if ahead.late is None else min(ahead.late, twice))


@cache
def _pens() -> tuple[dict[str, Line2D], dict[str, Text]]:
    """The line for every kind of stroke and the text for every kind of lettering, in points; on no figure."""
    from matplotlib.lines import Line2D

    from takeup.documents.charttext import Unmeasured

    return (
        {kind: Line2D([], [], **{"solid_capstyle": "butt", **style}) for kind, style in STROKES.items()},
        {kind: Unmeasured(color=INK, **style) for kind, style in LETTERING.items()},
    )


def _broken(strokes: Sequence[Sequence[Spot]]) -> tuple[list[float], list[float]]:
    """Strokes as the places of one line that is broken between them."""
    spots = [spot for stroke in strokes for spot in (*stroke, (float("nan"), float("nan")))]
    return [x for x, _ in spots], [y for _, y in spots]


def _strokes(shown: Picture, ticks: Ticks) -> dict[str, list[Sequence[Spot]]]:
    """Every stroke of the chart by its kind, in points."""
    left, bottom, width, height = AREA
    right, top = left + width, bottom + height
    across, up = ticks
    strokes: dict[str, list[Sequence[Spot]]] = {
        "frame": [[(left, top), (left, bottom), (right, bottom)]],
        "tick": [
            *([(x, bottom), (x, bottom - 3)] for x, _ in across),
            *([(left - 3, y), (left, y)] for y, _ in up),
        ],
    }

    def add(kind: str, *spots: Spot) -> None:
        strokes.setdefault(kind, []).append(spots)

    for level, beside in zip(shown.levels, _beside(shown), strict=True):
        y = shown.y(level.percent)
        add(level.kind, (left, y), (right, y))
        add("leader", (right, y), (right + 5.7, beside))
    for mark in shown.marks:
        x, y = shown.x(mark.hours), shown.y(mark.percent)
        low, high = (shown.y(mark.percent + sign * mark.uncertainty) for sign in (-1, 1))
        add("counted" if mark.counted else "open", (x, y))
        add("bar", (x, low), (x, high))
        for end in (low, high):
            add("bar", (x - 2, end), (x + 2, end))
    if shown.ahead is not None:
        add("path", *((shown.x(hours), shown.y(percent)) for hours, percent in shown.ahead.path))
        y, (early, middle, late) = shown.y(shown.ahead.level), (x for x, _ in _bounds(shown, shown.ahead))
        add("bounds", (early, y), (late, y))
        for x in (early, middle, late):
            add("bound", (x, y - 4.5), (x, y + 4.5))
    return strokes


def _texts(shown: Picture, ticks: Ticks) -> Iterator[tuple[str, Spot, str]]:
    """Every text of the chart: its kind, where it stands in points, and what it says."""
    left, bottom, width, height = AREA
    across, up = ticks
    for x, text in across:
        yield "across", (x, bottom - 13), text
    for y, text in up:
        yield "up", (left - 6.5, y - 3.4), text
    yield "across", (left + width / 2, 8.0), "run hours of this chain (h)"
    yield "upright", (10.0, bottom + height / 2), "elongation (%)"
    for level, y in zip(shown.levels, _beside(shown), strict=True):
        kind = "governing name" if level.kind == "governing" else "name"
        yield kind, (left + width + 7.1, y - 3.0), f"{level.name} {number(level.percent, 2)} %"
    if shown.ahead is not None:
        y = shown.y(shown.ahead.level) + 7
        named: list[float] = []
        (early, name), (middle_x, middle_name), (late, late_name) = _bounds(shown, shown.ahead)
        # Names that would cover one another are left to the table.
        for x, text in ((early, name), (late, late_name), (middle_x, middle_name)):
            if all(abs(x - other) > 0.05 * width for other in named):
                named.append(x)
                yield "bound", (x + 2, y), text


def _bounds(shown: Picture, ahead: Ahead) -> tuple[tuple[float, str], tuple[float, str], tuple[float, str]]:
    """Early, middle and late: where each stands in points, and its name."""
    late = shown.right if ahead.late is None else min(shown.right, ahead.late)
    name = "late: open" if ahead.late is None else "late"
    return (shown.x(ahead.early), "early"), (shown.x(ahead.middle), "middle"), (shown.x(late), name)


def _ticks(shown: Picture) -> Ticks:
    """Round run hours and round elongations."""
    hours, percents = _round(0.0, shown.right, 6), _round(shown.low, shown.high, 9)
    return (
        [(shown.x(value), text) for value, text in hours],
        [(shown.y(value), text) for value, text in percents],
    )


def _round(low: float, high: float, parts: int) -> list[tuple[float, str]]:
    """Round values between two ends, no more than so many parts, each with as many decimals as the step."""
    from matplotlib.ticker import MaxNLocator

    locator = MaxNLocator(parts, steps=[1, 2, 2.5, 5, 10])
    values = [float(value) for value in locator.tick_values(low, high) if low <= value <= high]
    step = min((b - a for a, b in pairwise(values)), default=1.0)
    decimals = next(n for n in range(9) if n == 8 or abs(round(step, n) - step) < step / 100)
    return [(value, number(value, decimals)) for value in values]


def _beside(shown: Picture) -> list[float]:
    """Heights in points of the names beside the levels."""
    bottom, top = AREA[1], AREA[1] + AREA[3]
    return _apart([shown.y(level.percent) for level in shown.levels], gap=12.3, low=bottom, high=top)


def _apart(levels: Sequence[float], gap: float, low: float, high: float) -> list[float]:
    """Heights for names beside rising levels, no two closer than ``gap``.

    Examples
    --------
    >>> _apart([1.0, 1.05, 3.0], 0.5, 0.0, 4.0)
    [1.0, 1.5, 3.0]
    """
    heights = list(levels)
    for index in range(1, len(heights)):
        heights[index] = max(heights[index], heights[index - 1] + gap)
    for index in reversed(range(len(heights))):
        ceiling = high if index == len(heights) - 1 else heights[index + 1] - gap
        heights[index] = max(low, min(heights[index], ceiling))
    return heights


def inside(svg: str) -> str:
    """The elements of an SVG file, without what only a file needs and names that nothing refers to."""
    svg = svg[svg.index(">", svg.index("<svg")) + 1 : svg.rindex("</svg>")]
    svg = re.sub(r"<metadata>.*?</metadata>", "", svg, flags=re.DOTALL)
    svg = re.sub(r"<defs>\s*<style[^>]*>.*?</style>\s*</defs>", "", svg, count=1, flags=re.DOTALL)
    svg = re.sub(r"<!--.*?-->", "", svg, flags=re.DOTALL)
    used = set(re.findall(r'(?:href="#|url\(#)([^")]+)', svg))
    svg = re.sub(r' id="([^"]+)"', lambda found: found[0] if found[1] in used else "", svg)
    return re.sub(r"\s*\n\s*", "\n", svg).strip()


def _meter(shown: Picture, hours_now: float | None) -> str:
    """Where the meter stands now, set over the drawing; blank before the last survey and beyond the chart."""
    if hours_now is None or not shown.marks[-1].hours < hours_now <= shown.right:
        return ""
    x, bottom = shown.x(hours_now), SIZE[1] - AREA[1]
    return (
        f'<path d="M {x:.2f} {bottom:.2f} V {bottom - AREA[3]:.2f}" '
        f'style="fill: none; stroke: {GREY}; stroke-width: 0.6; stroke-dasharray: 0.6 1.2"/>'
        f'<text transform="translate({x - 2:.2f} {bottom - 4:.2f}) rotate(-90)" '
        f"style=\"font-size: {SMALL:g}px; font-family: 'DejaVu Sans', sans-serif; fill: {GREY}\">"
        "meter now</text>"
    )
