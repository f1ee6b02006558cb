"""The picture as SVG."""

import warnings
from datetime import date
from io import StringIO
from typing import Any
from xml.sax.saxutils import escape

from handsfree.plots.picture import Panel, Picture, description, heading, title_of, trend
from handsfree.sums.history import Stage
from handsfree.sums.slopes import CONFIDENCE, Slope
from handsfree.sums.wording import Words

STYLES: dict[Stage, dict[str, Any]] = {
    Stage.BEFORE: {"marker": "o", "color": "#0b4f8a", "linestyle": "--", "mfc": "white"},
    Stage.AFTER: {"marker": "s", "color": "#b8480b", "linestyle": "-", "mfc": "#b8480b"},
    Stage.UNTOUCHED: {"marker": "^", "color": "#444444", "linestyle": ":", "mfc": "#444444"},
    Stage.UNSAID: {"marker": "x", "color": "#444444", "linestyle": "-.", "mfc": "none"},
}
"""Marks and lines in SVG; every one is told from the others by its form alone."""

FIXED: Any = {
    "svg.fonttype": "none",
    "svg.hashsalt": "handsfree",
    "text.parse_math": False,
    "axes.unicode_minus": False,
    "font.family": ["DejaVu Sans", "sans-serif"],
    "font.size": 9,
}
"""Text stays text, a name with dollar signs is no formula, and ids do not change by chance."""

_EPOCH = date(1970, 1, 1).toordinal()
"""Day 0 of matplotlib's axes of dates."""


def svg(shown: Picture, words: Words) -> str:
    """The picture as SVG: small multiples by foot, on the same axes.

    The same picture gives the same text, byte for byte; it says in <title> and <desc> what
    it shows.
    """
    from matplotlib import rc_context
    from matplotlib.backends.backend_svg import FigureCanvasSVG

    out = StringIO()
    # A name in a script that the font lacks is still text in the file.
    with rc_context(FIXED), warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph")
        figure = figure_of(shown, words)
        FigureCanvasSVG(figure)
        told = {"Date": None, "Title": heading(shown, words)}
        figure.savefig(out, format="svg", metadata=told)
    described = escape("\n".join(description(shown, words)))
    text = out.getvalue()
    text = text.replace("</title>", f"</title>\n <desc>{described}</desc>", 1)
    return text.replace("<svg ", '<svg role="img" ', 1)


def figure_of(shown: Picture, words: Words) -> Any:
    """The picture as a matplotlib Figure, on no canvas yet."""
    from matplotlib.figure import Figure

    panels = shown.panels
    across = min(2, len(panels))
    down = -(-len(panels) // across)
    size = (max(4.2 * across, 6.0) + 0.6, 2.5 * down + 1.1)
    figure = Figure(figsize=size, layout="constrained")
    figure.suptitle(heading(shown, words), fontsize=12, fontweight="bold")
    axes = figure.subplots(down, across, sharex=True, sharey=True, squeeze=False)
    for axis, panel in zip(axes.flat, panels, strict=False):
        _draw(axis, shown, panel, words)
    for axis in list(axes.flat)[len(panels) :]:
        axis.set_visible(False)
    _legend(figure, shown)
    return figure


def _draw(axis: Any, shown: Picture, panel: Panel, words: Words) -> None:
    from matplotlib import dates

    kit: Any = dates

    tracks = shown.of(panel)
    axis.set_title(title_of(panel, words), loc="left", fontsize=10, fontweight="bold")
    axis.set_xlim(*(date.fromordinal(day) for day in shown.days))
    axis.set_ylim(*shown.span)
    axis.xaxis.set_major_locator(kit.AutoDateLocator(minticks=2, maxticks=4))
    axis.xaxis.set_major_formatter(kit.DateFormatter("%Y-%m-%d"))
    axis.tick_params(labelsize=8, labelbottom=True)
    axis.set_ylabel("°" if shown.unit == "deg" else shown.unit)
    axis.grid(color="#dddddd", linewidth=0.6)
    axis.set_axisbelow(True)
    axis.spines[["top", "right"]].set_visible(False)
    if not tracks:
        centred = {"ha": "center", "va": "center", "transform": axis.transAxes}
        axis.text(0.5, 0.5, "not measured", color="#666666", **centred)
    for track in tracks:
        style = STYLES[track.stage]
        line = trend(shown, track)
        if line is None:
            continue
        first, last = (p.on.toordinal() for p in (track.points[0], track.points[-1]))
        days = [first, line.day, last]
        when = [day - _EPOCH for day in days]
        low, middle, high = (
            [line.at(day, slope) for day in days] for slope in (line.low, line.slope, line.high)
        )
        axis.fill_between(when, low, high, color=style["color"], alpha=0.13, linewidth=0)
        axis.plot(when, middle, color=style["color"], linestyle=style["linestyle"], lw=1.2)
    for stage in shown.stages:
        points = dict.fromkeys(p for t in tracks for p in t.points if p.stage is stage)
        xs, ys = [p.on for p in points], [shown.value(p) for p in points]
        axis.plot(xs, ys, markersize=6, zorder=3, **STYLES[stage] | {"linestyle": "none"})


def _legend(figure: Any, shown: Picture) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    handles: list[Any] = []
    lined = {track.stage for track in shown.tracks if isinstance(track.slope, Slope)}
    for stage in shown.stages:
        style = STYLES[stage] | ({} if stage in lined else {"linestyle": "none"})
        handles.append(Line2D([], [], label=stage.value, markersize=6, lw=1.2, **style))
    slopes = [track.slope for track in shown.tracks if isinstance(track.slope, Slope)]
    if slopes:
        least = min(slope.confidence for slope in slopes)
        sure = "95 %" if least == CONFIDENCE else f"{round(least * 100)} to 95 %"
        label = f"trend, {sure} interval (Theil 1950, Sen 1968)"
        handles.append(Patch(color="#888888", alpha=0.3, label=label))
    figure.legend(handles=handles, loc="outside lower center", ncols=2, frameon=False)
