"""The user's own prices, from a TOML file."""

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from decimal import ROUND_HALF_UP, Decimal
from pathlib import Path
from typing import Any

import platformdirs
from rapidfuzz import fuzz, process

from handsfree.errors import ExitCode, HandsfreeError
from handsfree.sheets.files import printable

FILE = "prices.toml"
MOST = Decimal(1_000_000)
"""Above this a price is taken for a slip of the keys."""

KEYS: Mapping[str, str] = {
    "visit.call_out": "coming out, once a visit (left out where there is no price for it)",
    "work.new_shoe": "a new shoe put on, with all that belongs to it; per foot",
    "work.shoe_reset": "the same shoe put on again; per foot",
    "work.trimmed": "a trim of a foot that is not shod that day; per foot",
    "work.shoe_pulled": "a shoe taken off a foot that is not shod that day; per foot",
    "work.rasped": "rasping, of a foot neither shod nor trimmed that day; per foot",
    "work.clinched": "clinches tightened, of a foot not shod that day; per foot",
    "work.packed": "packing under a pad; per foot",
    "work.barefoot": "leaving a foot without a shoe; per foot",
    "work.flare_dressed": "a flare dressed, of a foot neither shod nor trimmed that day; per foot",
    "work.toe_dressed": "a toe dressed, of a foot neither shod nor trimmed that day; per foot",
    "work.hot_fitted": "hot fitting, where no shoe put on was noted; per foot",
    "work.drilled_tapped": "a shoe drilled and tapped for studs; per foot",
    "work.abscess_opened": "an abscess opened; per foot",
    "work.corn_pared": "a corn pared out; per foot",
    "work.poulticed": "a poultice put on; per foot",
    "work.resected": "wall cut away; per foot",
    "work.treated": "a foot treated; per foot",
    "set.new_shoe_two": "new shoes on two feet, instead of two single ones",
    "set.new_shoe_four": "new shoes on four feet",
    "set.shoe_reset_two": "resets of two feet",
    "set.shoe_reset_four": "resets of four feet",
    "set.trimmed_two": "trims of two feet",
    "set.trimmed_four": "trims of four feet",
    "nails.each": "a nail driven",
    "shoe.pads": "a pad; per foot",
    "shoe.studs": "studs; per foot, however many",
    "shoe.clips": "a shoe with toe or quarter clips; per foot",
    "shoe.bar_shoe": "a bar shoe; per foot",
    "shoe.rolled_toe": "a rolled toe; per foot",
    "shoe.wedge": "a wedge; per foot",
    "shoe.crease": "a crease, or one lengthened and the like; per foot",
    "shoe.branch": "a branch extended, widened and the like; per foot",
    "shoe.inside_rounded": "the inner branch rounded off; per foot",
}
"""What can have a price, and what it is paid for."""

BY_SIZE = "size."
"""`size.7`: a new shoe of that size, instead of work.new_shoe and of the sets."""

TABLES = ("price", "heavy", "riding")
"""`price` is for every horse; what the others name goes before it for such a horse."""

_MINOR_UNITS = {
    **dict.fromkeys("CLP ISK JPY KRW PYG UGX VND XAF XOF XPF".split(), 0),
    **dict.fromkeys("BHD IQD JOD KWD LYD OMR TND".split(), 3),
}
"""Digits after the point by ISO 4217 where they are not two (from memory; `decimals` in the file
goes before it)."""


class PriceListError(HandsfreeError):
    """A price list cannot be used; the line names the file, the key and what is wrong."""

    exit_code = ExitCode.USAGE


@dataclass(frozen=True)
class Tax:
    """A tax on the net total: its name and its rate in percent."""

    name: str
    percent: Decimal


@dataclass(frozen=True)
class Totals:
    """Net, tax and both together, in a currency; `tax` is 0 and unnamed where none is charged."""

    currency: str
    net: Decimal
    tax_name: str | None
    tax_percent: Decimal | None
    tax: Decimal
    total: Decimal


@dataclass(frozen=True)
class Prices:
    """A price list. `tables`: kind of horse ("price" for all) → key → price, net of tax."""

    currency: str = ""
    decimals: int = 2
    tax: Tax | None = None
    tables: Mapping[str, Mapping[str, Decimal]] = field(default_factory=dict)

    def of(self, key: str, kind: str | None = None) -> Decimal | None:
        """The price of a thing for a kind of horse; None where the list has none.

        Where the kind has any price of its own for a piece of work, the sets and sizes for
        every horse are not its own: four heavy shoes must not cost what four light ones do.
        """
        own = self.tables.get(kind or "", {})
        general = self.tables.get("price", {})
        if key in own:
            return own[key]
        if key.startswith(("set.", BY_SIZE)) and any(_work_of(k) == _work_of(key) for k in own):
            return None
        return general.get(key)

    def rounded(self, amount: Decimal) -> Decimal:
        """To the currency's smallest coin, halves up."""
        return amount.quantize(Decimal(1).scaleb(-self.decimals), rounding=ROUND_HALF_UP)

    def totals(self, amounts: Iterable[Decimal]) -> Totals:
        """tax = net × percent / 100, rounded half up to the smallest coin; total = net + tax."""
        net = self.rounded(sum(amounts, Decimal(0)))
        tax = self.rounded(net * self.tax.percent / 100) if self.tax else self.rounded(Decimal(0))
        name, percent = (self.tax.name, self.tax.percent) if self.tax else (None, None)
        return Totals(self.currency, net, name, percent, tax, net + tax)


def _work_of(key: str) -> str:
    """The piece of work that a key is a price of."""
    if key.startswith(BY_SIZE):
        return "new_shoe"
    name = key.partition(".")[2]
    return name.rpartition("_")[0] if key.startswith("set.") else name


def default_path() -> Path:
    """The list used when none is named: prices.toml in the user's settings folder."""
    return Path(platformdirs.user_config_dir("handsfree", appauthor=False)) / FILE


def read(path: Path) -> Prices:
    """Read a price list. Raises PriceListError, one line, for what is wrong in it."""
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as error:
        raise _wrong(path, f"cannot be read: {error.strerror or error}") from error
    except UnicodeDecodeError as error:
        raise _wrong(path, "is not text in UTF-8") from error
    return parse(text, path)


def parse(text: str, path: Path = Path(FILE)) -> Prices:
    """The price list in a text; `path` is named in errors (PriceListError)."""
    try:
        # Decimal from the digits themselves: a float would not be the price that was written.
        data = tomllib.loads(text, parse_float=Decimal)
    except (ValueError, ArithmeticError, RecursionError) as error:
        raise _wrong(path, f"is not TOML: {error}") from error
    known = ("currency", "decimals", "tax", *TABLES)
    _check_keys(path, "", data, known)
    currency = data.get("currency", "")
    if not isinstance(currency, str) or len(currency) > 8 or not currency.isprintable():
        raise _wrong(path, "'currency' must be a short word such as \"EUR\"")
    decimals = data.get("decimals", _MINOR_UNITS.get(currency.upper(), 2))
    if not isinstance(decimals, int) or isinstance(decimals, bool) or not 0 <= decimals <= 4:
        raise _wrong(path, "'decimals' must be a whole number from 0 to 4")
    tables = {name: _prices(path, name, data[name]) for name in TABLES if name in data}
    return Prices(currency, decimals, _tax(path, data.get("tax")), tables)


def _tax(path: Path, data: Any) -> Tax | None:
    if data is None:
        return None
    if not isinstance(data, dict):
        raise _wrong(path, "[tax] must be a table with name and percent")
    _check_keys(path, "tax.", data, ("name", "percent"))
    name = data.get("name", "tax")
    if not isinstance(name, str) or not name.strip() or not name.isprintable() or len(name) > 30:
        raise _wrong(path, "'tax.name' must be a short text on one line")
    if "percent" not in data:
        raise _wrong(path, "[tax] lacks 'percent'")
    percent = _number(path, "tax.percent", data["percent"])
    if percent > 100:
        raise _wrong(path, f"'tax.percent' is {percent}; it must be from 0 to 100")
    return Tax(name.strip(), percent)


def _prices(path: Path, name: str, data: Any) -> dict[str, Decimal]:
    if not isinstance(data, dict):
        raise _wrong(path, f"[{name}] must be a table of prices")
    found: dict[str, Decimal] = {}
    for key, value in _flat(data):
        if not (key in KEYS or (key.startswith(BY_SIZE) and len(key) > len(BY_SIZE))):
            raise _unknown(path, f"{name}.", key, KEYS)
        found[key] = _number(path, f"{name}.{key}", value)
    return found


def _flat(data: Mapping[str, Any], before: str = "") -> Iterable[tuple[str, Any]]:
    """Dotted keys: `work.new_shoe` of a table in a table and of a quoted key alike."""
    for key, value in data.items():
        if isinstance(value, dict) and before.count(".") < 3:
            yield from _flat(value, f"{before}{key}.")
        else:
            yield f"{before}{key}", value


def _number(path: Path, key: str, value: Any) -> Decimal:
    if isinstance(value, bool) or not isinstance(value, int | Decimal):
        raise _wrong(path, f"'{printable(key)}' must be a number such as 32.50")
    number = Decimal(value)
    if not number.is_finite() or number < 0:
        raise _wrong(path, f"'{printable(key)}' is {value}; it must be 0 or more")
    if number > MOST:
        raise _wrong(path, f"'{printable(key)}' is {value}; is that right? {MOST} is the most")
    return number


def _check_keys(path: Path, where: str, data: Mapping[str, Any], known: Iterable[str]) -> None:
    for key in data:
        if key not in known:
            raise _unknown(path, where, key, known)


def _unknown(path: Path, where: str, key: str, known: Iterable[str]) -> PriceListError:
    near = process.extractOne(key, list(known), scorer=fuzz.ratio, score_cutoff=55)
    hint = f"; did you mean '{near[0]}'?" if near else ""
    return _wrong(path, f"there is no '{printable(where + key)}'{hint}")


def _wrong(path: Path, reason: str) -> PriceListError:
    return PriceListError(f"{printable(str(path))}: {' '.join(reason.split())}")


def template() -> str:
    """A price list to be filled in: every key with its meaning, none with a price."""
    lines = [
        "# Your prices, before tax. Take away the # before a line and write your own price.",
        "# 0 means: free, or within another price. A line left as it is has no price, and",
        "# what you did of it stands on the bill as 'no price'.",
        "",
        'currency = "EUR"',
        "# decimals = 2       # digits after the point, where your currency has others",
        "",
        "# [tax]               # leave it out where you charge none",
        '# name = "VAT"',
        "# percent = 0",
        "",
        "[price]",
        *(f"# {f'{key} = 0.00':26} # {meaning}" for key, meaning in KEYS.items()),
        f"# {f'{BY_SIZE}7 = 0.00':26} # a new shoe of that size, instead of work.new_shoe and sets",
        "",
        "# [heavy]             # prices for heavy horses, where they differ; [riding] likewise.",
        "#                     # With any price for new shoes here, the sets and sizes of new",
        "#                     # shoes above are not taken for such a horse; so with other work.",
        "# work.new_shoe = 0.00",
    ]
    return "\n".join(lines) + "\n"
