"""The horse seen from above with its four feet, and what is recorded on each."""

from collections.abc import Mapping, Sequence

from rich.text import Text

from handsfree.review.items import FootView
from handsfree.screens.parts import Glyphs, cut

NAMES = {"LF": "left fore", "RF": "right fore", "LH": "left hind", "RH": "right hind"}

WIDTH = 33
"""Cells of the whole figure: a foot on each side and the body between them."""

HEIGHT = 15
"""Lines of the whole figure."""

_SIDE = 12

# Head, ears and neck; then the forehand, the barrel, the quarters and the tail.
_FIGURE = (
    "  |\\_/|  ",
    "  /   \\  ",
    "  \\   /  ",
    "   | |   ",
    "  /   \\  ",
    " |     | ",
    " |     | ",
    " |     | ",
    " |     | ",
    " |     | ",
    " |     | ",
    " |     | ",
    "  \\   /  ",
    "   '|'   ",
    "    |    ",
)
_FRONT, _HIND = 3, 9


_UNREAD = tuple(FootView(limb, 0, 0, 0, ()) for limb in NAMES)

Unclear = Mapping[str | None, int]
"""Limb in force → how many utterances were not understood."""


def figure(
    feet: Sequence[FootView], unclear: Unclear, in_hand: str | None, on_horse: int, g: Glyphs
) -> list[Text]:
    """The whole figure, HEIGHT rows of WIDTH cells; the foot in hand is marked.

    Without `feet` (nothing read yet) only their names stand there.
    `on_horse` counts what is recorded of the horse and not of a foot; it stands on its back.
    """
    left, right = ([Text(" " * _SIDE, end="") for _ in range(HEIGHT)] for _ in range(2))
    for foot in feet or _UNREAD:
        column = left if foot.limb.startswith("L") else right
        start = _FRONT if foot.limb.endswith("F") else _HIND
        lines = _foot(foot, unclear.get(foot.limb, 0), foot.limb == in_hand)
        lines = lines if feet else lines[:1]
        for number, (line, style) in enumerate(lines, start):
            column[number] = Text(f"{cut(line, _SIDE, g):<{_SIDE}}", style=style, end="")
    return [
        Text(end="").append_text(left[n]).append(_on_back(n, body, on_horse)).append_text(right[n])
        for n, body in enumerate(_FIGURE)
    ]


def _on_back(number: int, body: str, on_horse: int) -> str:
    if on_horse and number == 7:
        return f" |{'horse':^5}| "
    if on_horse and number == 8:
        return f" |{min(on_horse, 999):^5}| "
    return body


def _foot(foot: FootView, unclear: int, in_hand: bool) -> list[tuple[str, str]]:
    name = f">{foot.limb} in hand" if in_hand else f" {foot.limb}"
    lines = [(name, "bold reverse" if in_hand else "bold")]
    if not foot.recorded:
        lines.append(("  nothing", ""))
    elif foot.confirmed == foot.recorded and not unclear:
        lines.append((f"+{foot.recorded:>2} settled", ""))
    else:
        lines.append((f" {foot.recorded:>2} recorded", ""))
    if foot.doubtful:
        lines.append((f"?{foot.doubtful:>2} doubtful", "bold"))
    if unclear:
        lines.append((f"!{unclear:>2} unclear", "bold"))
    if foot.left:
        lines.append((f"-{len(foot.left):>2} missing", ""))
    return lines


def strip(
    feet: Sequence[FootView], unclear: Unclear, in_hand: str | None, width: int, g: Glyphs
) -> list[Text]:
    """The four feet on two lines, front feet first, where the figure has no room.

    What was not understood counts as doubtful here.
    """
    half = width // 2
    cells = []
    for foot in feet or _UNREAD:
        mine = foot.limb == in_hand
        unsure = foot.doubtful + unclear.get(foot.limb, 0)
        shown = f"{'>' if mine else ' '}{foot.limb}"
        shown += f" {foot.recorded} rec." if feet else ""
        shown += (f" ?{unsure} doubt" if unsure else "") + (
            f" -{len(foot.left)} miss." if foot.left else ""
        )
        cells.append(Text(f"{cut(shown, half, g):<{half}}", style="bold reverse" if mine else ""))
    return [Text("").join(cells[i : i + 2]) for i in range(0, len(cells), 2)]
