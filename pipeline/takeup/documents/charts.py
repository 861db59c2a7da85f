"""The chart of one strand: wear elongation against run hours, its limits, and when the governing one comes.

Black, grey and dashes only, so that it reads in print and to every eye. The same series gives the same bytes:
one figure is used again, element names come from a fixed salt, and no date is written. Text stays text.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Sequence
from functools import cache
from html import escape
from typing import TYPE_CHECKING, Any

from takeup.documents.sheets import Forecast, LimitLine, StrandSeries, SurveyPoint

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

INK, GREY = "#111111", "#6b6b6b"
SIZE_IN = (5.0, 3.2)
SMALL = 8.0
STYLE: dict[Any, Any] = {
    "svg.fonttype": "none",
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans"],
    "font.size": 9.5,
    "axes.linewidth": 0.6,
    "axes.edgecolor": GREY,
    "xtick.color": INK,
    "ytick.color": INK,
    "path.simplify": False,
}


def chart(series: StrandSeries, limit_name: Callable[[str], str], title: str, description: str) -> str:
    """The chart as an SVG element to stand in a page.

    Parameters
    ----------
    series : StrandSeries
        With one survey or more.
    limit_name : callable
        Code of a limit to the words beside its line.
    title, description : str
        What a screen reader says in place of the picture.
    """
    from matplotlib import rc_context
    from matplotlib.backends.backend_svg import FigureCanvasSVG

    file = io.StringIO()
    with rc_context({**STYLE, "svg.hashsalt": f"takeup {series.strand}"}):
        figure = _figure()
        figure.clear()
        axes = figure.add_axes((0.118, 0.15, 0.565, 0.81))
        _draw(axes, series, limit_name)
        nothing = dict.fromkeys(("Creator", "Date", "Format", "Type"))
        FigureCanvasSVG(figure).print_svg(file, metadata=nothing)  # type: ignore[no-untyped-call]
    return _inline(file.getvalue(), title, description)


@cache
def _figure() -> Figure:
    from matplotlib.figure import Figure

    return Figure(figsize=SIZE_IN)


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
    return max(1.35 * level, 1.15 * highest, 0.5)


def _draw(axes: Axes, series: StrandSeries, limit_name: Callable[[str], str]) -> None:
    """Surveys, forecast and limit lines on empty axes."""
    last = series.surveys[-1]
    ends = [last.hours, series.hours_now or 0.0]
    if series.forecast is not None:
        ends.append(_far_end(series.forecast))
    lowest = min(point.wear_percent - point.uncertainty_percent for point in series.surveys)
    axes.set_xlim(0.0, 1.06 * max(*ends, 1.0))
    axes.set_ylim(min(0.0, 1.1 * lowest), _top(series))
    _surveys(axes, series.surveys)
    if series.forecast is not None and series.forecast.hours_middle > 0:
        _forecast(axes, series.forecast)
    if series.hours_now is not None and series.hours_now > last.hours:
        axes.axvline(series.hours_now, color=GREY, linewidth=0.6, linestyle=(0, (1, 2)))
        axes.text(
            series.hours_now,
            0.01,
            "meter now ",
            transform=axes.get_xaxis_transform(),
            fontsize=SMALL,
            color=GREY,
            rotation=90,
            ha="right",
            va="bottom",
        )
    _limits(axes, series, limit_name)
    axes.set_xlabel("run hours of this chain (h)")
    axes.set_ylabel("elongation (%)")
    axes.tick_params(width=0.6, length=3)
    axes.spines[["top", "right"]].set_visible(False)


def _far_end(forecast: Forecast) -> float:
    """How far right the chart goes: the late bound, but never beyond twice the middle."""
    late = forecast.hours_middle * 2 if forecast.hours_late is None else forecast.hours_late
    return forecast.from_hours + max(forecast.hours_middle, min(late, 2 * forecast.hours_middle))


def _surveys(axes: Axes, surveys: Sequence[SurveyPoint]) -> None:
    """Full marks feed the rate, open ones do not; bars are the uncertainty, twice the standard one."""
    for counted, face in ((True, INK), (False, "white")):
        points = [point for point in surveys if point.counted is counted]
        if points:
            axes.errorbar(
                [point.hours for point in points],
                [point.wear_percent for point in points],
                yerr=[point.uncertainty_percent for point in points],
                fmt="o",
                color=INK,
                markersize=4,
                markerfacecolor=face,
                markeredgecolor=INK,
                markeredgewidth=0.8,
                ecolor=INK,
                elinewidth=0.7,
                capsize=2,
                capthick=0.7,
                zorder=3,
            )


def _forecast(axes: Axes, forecast: Forecast) -> None:
    """The trend to the governing limit, bent where the case is through, and the bounds on that limit."""
    level = forecast.level_percent
    middle = forecast.from_hours + forecast.hours_middle
    bend = [forecast.bend] if forecast.bend else []
    path = [(forecast.from_hours, forecast.from_percent), *bend, (middle, level)]
    axes.plot(*zip(*path, strict=True), color=INK, linewidth=1.0, linestyle=(0, (5, 2)), zorder=2)
    end = axes.get_xlim()[1]
    late, late_name = end, "late: open"
    if forecast.hours_late is not None:
        late, late_name = min(end, forecast.from_hours + forecast.hours_late), "late"
    early = forecast.from_hours + forecast.hours_early
    axes.plot([early, late], [level, level], color=INK, linewidth=2.4, solid_capstyle="butt", zorder=4)
    named: list[float] = []
    for hours, name in ((early, "early"), (late, late_name), (middle, "middle")):
        axes.plot([hours], [level], marker="|", markersize=9, markeredgewidth=1.2, color=INK, zorder=5)
        # Names that would cover one another are left to the table.
        if all(abs(hours - other) > 0.05 * end for other in named):
            named.append(hours)
            axes.annotate(
                name,
                (hours, level),
                xytext=(0, 7),
                textcoords="offset points",
                fontsize=SMALL,
                rotation=45,
                ha="left",
                va="bottom",
                color=INK,
                zorder=6,
            )


def _limits(axes: Axes, series: StrandSeries, limit_name: Callable[[str], str]) -> None:
    """One line a limit, its name in the right margin; solid where it governs, dotted for the plan line."""
    lines = [
        (line.percent or 0.0, limit_name(line.name), line.governing, (0, (6.0, 3.0)))
        for line in drawn_limits(series)
    ]
    if series.plan_percent is not None and series.plan_percent <= _top(series):
        lines.append((series.plan_percent, "plan line", False, (0, (1.5, 1.5))))
    lines.sort()
    low, high = axes.get_ylim()
    heights = _apart([level for level, *_ in lines], gap=(high - low) * 0.066, low=low, high=high)
    margin = axes.get_yaxis_transform()
    for (level, name, governs, dashes), height in zip(lines, heights, strict=True):
        color, width, style = (INK, 1.0, "solid") if governs else (GREY, 0.7, dashes)
        axes.axhline(level, color=color, linewidth=width, linestyle=style)
        axes.plot([1.0, 1.028], [level, height], transform=margin, clip_on=False, linewidth=0.4, color=GREY)
        axes.text(
            1.035,
            height,
            f"{name} {level:.2f} %",
            transform=margin,
            fontsize=8.5,
            va="center",
            fontweight="bold" if governs else "normal",
        )


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


def _inline(svg: str, title: str, description: str) -> str:
    """The SVG as one element of a page, named for screen readers, without what only a file needs."""
    svg = svg[svg.index("<svg") :]
    svg = re.sub(r'<path d="[^"]*" style="fill: #ffffff"/>', "", svg)
    svg = re.sub(r"<metadata>.*?</metadata>", "", svg, flags=re.DOTALL)
    svg = re.sub(r"<defs>\s*<style[^>]*>.*?</style>\s*</defs>", "", svg, count=1, flags=re.DOTALL)
    used = set(re.findall(r'(?:href="#|url\(#)([^")]+)', svg))
    svg = re.sub(r' id="([^"]+)"', lambda found: found[0] if found[1] in used else "", svg)
    box = re.search(r'viewBox="[^"]+"', svg)
    name = re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-")
    head = (
        f'<svg {box[0] if box else ""} role="img" aria-labelledby="{name}-title {name}-desc" class="chart">'
        f'<title id="{name}-title">{escape(title)}</title><desc id="{name}-desc">{escape(description)}</desc>'
    )
    return head + svg[svg.index(">") + 1 :].strip()
