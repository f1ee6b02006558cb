"""Trends of a measure as pictures: in the terminal, and as SVG. One panel for each foot."""

from handsfree.plots.characters import terminal
from handsfree.plots.drawing import svg
from handsfree.plots.picture import Picture, picture

__all__ = ["Picture", "picture", "svg", "terminal"]
