"""The picture in characters."""

from datetime import date

from handsfree.plots.picture import Panel, Picture, heading, title_of, trend
from handsfree.sums.history import Stage
from handsfree.sums.slopes import Slope
from handsfree.sums.wording import Words

SIGNS = {Stage.BEFORE: "o", Stage.AFTER: "#", Stage.UNTOUCHED: "+", Stage.UNSAID: "?"}
GAP = 2
"""Columns between two panels."""


def terminal(shown: Picture, words: Words, width: int = 80, height: int = 24) -> str:
    """The picture in characters, without colour, at most so wide and high.

    Two panels stand side by side where that leaves each 36 columns. Where more panels are
    wanted than fit, only the height is exceeded.
    """
    panels = shown.panels
    across = 2 if len(panels) > 1 and width >= 2 * 36 + GAP else 1
    down = -(-len(panels) // across)
    key = "   ".join(f"{SIGNS[stage]} {stage.value}" for stage in shown.stages)
    trends = any(isinstance(track.slope, Slope) for track in shown.tracks)
    key += "   . trend" if trends else ""
    size = (width - GAP * (across - 1)) // across, max(9, (height - 2) // down)
    drawn = [_panel(shown, panel, words, *size) for panel in panels]
    rows = []
    for at in range(0, len(drawn), across):
        side_by_side = zip(*drawn[at : at + across], strict=True)
        rows += [(" " * GAP).join(parts).rstrip() for parts in side_by_side]
    return "\n".join([heading(shown, words), *rows, key])


def _panel(shown: Picture, panel: Panel, words: Words, width: int, height: int) -> list[str]:
    import plotext

    tracks = shown.of(panel)
    title = title_of(panel, words)
    plotext.clear_figure()
    plotext.limit_size(False, False)
    plotext.plot_size(width, height)
    plotext.title(title if tracks else f"{title}: not measured")
    (first, last), (low, high) = shown.days, shown.span
    plotext.xlim(first, last)
    plotext.ylim(low, high)
    ticks = _ticks(shown)
    plotext.xticks(ticks, [date.fromordinal(day).isoformat() for day in ticks])
    places = 0 if high - low >= 5 else 1 if high - low >= 0.5 else 2
    marks = [low + (high - low) * part / 4 for part in range(1, 4)]
    plotext.yticks(marks, [f"{mark:.{places}f}" for mark in marks])
    for track in tracks:
        line = trend(shown, track)
        if line is not None:
            days = [float(p.on.toordinal()) for p in (track.points[0], track.points[-1])]
            plotext.plot(days, [line.at(day, line.slope) for day in days], marker=".")
    if not tracks:
        plotext.scatter([(first + last) / 2], [(low + high) / 2], marker=" ")
    for point in dict.fromkeys(point for track in tracks for point in track.points):
        plotext.scatter([point.on.toordinal()], [shown.value(point)], marker=SIGNS[point.stage])
    lines = plotext.uncolorize(plotext.build()).rstrip("\n").split("\n")
    return [line.ljust(width)[:width] for line in lines]


def _ticks(shown: Picture) -> list[int]:
    days = [point.on.toordinal() for point in shown.points]
    return sorted({min(days), max(days)})
