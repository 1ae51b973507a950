"""The price book as plain entries: what versions keep, files bring and comparisons compare.

An entry is a dictionary of words, whatever it is an entry of, so that a version stays readable
when the tables behind it have moved on. "what" and "code" name it; nothing is "".
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from worksprog.clubs.models import Club
from worksprog.works.models import Category, OutputRate, Price, PriceTrend, SwayedBy

Entry = dict[str, str]
Key = tuple[str, str]  # what it is and its code

PRICE, OUTPUT, TREND = "price", "output", "trend"
FIGURES = ("low", "likely", "high")
PARTS = ("wage", "on_cost_percent", "hire", "fuel")
FIELDS = {
    PRICE: (
        *("category", "name", "unit", *FIGURES, "supplier", "trend", *PARTS),
        *("source", "dated", "confirmed"),
    ),
    OUTPUT: ("name", "unit", *FIGURES, "swayed_by", "source", "dated", "confirmed"),
    TREND: ("name", *FIGURES, "source", "dated"),
}
LABELS = {
    "category": "kind of cost",
    "name": "name",
    "unit": "unit",
    "low": "low",
    "likely": "likely",
    "high": "high",
    "supplier": "supplier",
    "trend": "how it rises",
    "wage": "wage",
    "on_cost_percent": "on-cost, %",
    "hire": "hire",
    "fuel": "fuel",
    "swayed_by": "goes with",
    "source": "source",
    "dated": "as of",
    "confirmed": "confirmed",
}
YES = "yes"
_DECIMALS = frozenset({*FIGURES, *PARTS})


def key_of(entry: Mapping[str, str]) -> Key:
    return entry["what"], entry["code"]


def _number(value: Decimal | None, what: str) -> str:
    if value is None:
        return ""
    return f"{value.normalize():f}" if what == OUTPUT else f"{value:.2f}"


def entry_of(row: Price | OutputRate | PriceTrend) -> Entry:
    """The row as an entry; a price's trend is told by name, so fetch it with the row."""
    what = {Price: PRICE, OutputRate: OUTPUT, PriceTrend: TREND}[type(row)]
    entry = {"what": what, "code": row.name if isinstance(row, PriceTrend) else row.code}
    for name in FIELDS[what]:
        if name == "confirmed":
            entry[name] = YES if getattr(row, "is_confirmed", False) else ""
        elif name == "trend":
            entry[name] = row.trend.name if isinstance(row, Price) and row.trend else ""
        elif name in _DECIMALS:
            entry[name] = _number(getattr(row, name), what)
        elif name == "dated":
            entry[name] = row.dated.isoformat()
        else:
            entry[name] = str(getattr(row, name))
    return entry


def entries_of(club: Club) -> list[Entry]:
    """The whole book as it stands, in an order that stays. Three queries."""
    rows: list[Price | OutputRate | PriceTrend] = [
        *Price.objects.filter(club=club).select_related("trend"),
        *OutputRate.objects.filter(club=club),
        *PriceTrend.objects.filter(club=club),
    ]
    return sorted((entry_of(row) for row in rows), key=key_of)


def _decimal(text: str) -> Decimal | None:
    return Decimal(text) if text else None


def put(
    row: Price | OutputRate, entry: Mapping[str, str], trends: Mapping[str, PriceTrend]
) -> None:
    """Set the row to what the entry says, where it says anything; KeyError for no such trend."""
    for name, text in entry.items():
        if name in ("what", "code"):
            continue
        if name == "confirmed":
            row.is_confirmed = text == YES
        elif name == "trend":
            assert isinstance(row, Price)
            row.trend = trends[text] if text else None
        elif name in _DECIMALS:
            setattr(row, name, _decimal(text))
        elif name == "dated":
            row.dated = date.fromisoformat(text)
        else:
            setattr(row, name, text)


@dataclass(frozen=True)
class Move:
    """One figure or word of an entry that differs; ``share`` of the old where it is money."""

    name: str
    was: str
    now: str
    share: float | None = None

    @property
    def label(self) -> str:
        return LABELS[self.name]

    @property
    def was_words(self) -> str:
        return _in_words(self.name, self.was)

    @property
    def now_words(self) -> str:
        return _in_words(self.name, self.now)


def _in_words(name: str, text: str) -> str:
    if name == "confirmed":
        return "confirmed" if text else "not confirmed"
    if not text:
        return "nothing"
    if name == "category":
        return str(dict(Category.choices).get(text, text))
    if name == "swayed_by":
        return str(dict(SwayedBy.choices).get(text, text))
    if name == "dated":
        day = date.fromisoformat(text)
        return f"{day.day} {day:%b %Y}"
    return text


GREAT = 0.5  # a likely price that moves by more than half deserves a second look


@dataclass(frozen=True)
class Changed:
    """An entry that is in both books, and what differs."""

    entry: Entry  # as it is in the later book
    moves: tuple[Move, ...]
    number: int = 0  # row of the file it came from

    @property
    def figures(self) -> tuple[Move, ...]:
        return tuple(move for move in self.moves if move.name in FIGURES)

    @property
    def words(self) -> tuple[Move, ...]:
        return tuple(move for move in self.moves if move.name not in FIGURES)

    @property
    def share(self) -> float | None:
        """By how much the likely figure moved; None where it did not, or where the unit did."""
        likely = next((move for move in self.moves if move.name == "likely"), None)
        return likely.share if likely else None

    @property
    def share_words(self) -> str:
        """'+7.3 %' of the old likely figure."""
        if self.share is None:
            return ""
        return f"{self.share * 100:+,.1f} %".replace("-", "−")

    @property
    def triples(self) -> list[tuple[str, str, str, bool]]:
        """Low, likely and high: name, was, now, whether it moved; "" where it was not there."""
        moved = {move.name: move for move in self.moves}
        return [
            (
                name,
                moved[name].was if name in moved else self.entry.get(name, ""),
                self.entry.get(name, ""),
                name in moved,
            )
            for name in FIGURES
        ]

    @property
    def needs_eyes(self) -> str:
        """Why a reader should look twice; "" where nothing asks for it."""
        if any(move.name == "unit" for move in self.moves):
            return "the unit differs: every quantity priced by it changes its meaning"
        if self.share is not None and abs(self.share) > GREAT:
            return "moves by more than half"
        dated = next((move for move in self.moves if move.name == "dated"), None)
        if dated and dated.was and dated.now < dated.was:
            return "older than what the book has"
        return ""


@dataclass(frozen=True)
class Comparison:
    added: tuple[Entry, ...]
    changed: tuple[Changed, ...]
    gone: tuple[Entry, ...]
    same: int

    @property
    def is_empty(self) -> bool:
        return not (self.added or self.changed or self.gone)

    @property
    def added_numbered(self) -> list[tuple[int, Entry]]:
        return list(enumerate(self.added, start=1))

    @property
    def words(self) -> str:
        counts = ((self.added, "added"), (self.changed, "changed"), (self.gone, "gone"))
        return ", ".join(f"{len(of)} {word}" for of, word in counts if of) or "nothing differs"


def _moves(old: Mapping[str, str], new: Mapping[str, str]) -> tuple[Move, ...]:
    moves = []
    same_unit = old.get("unit") == new.get("unit")
    for name in FIELDS[new["what"]]:
        was, now = old.get(name, ""), new.get(name, "")
        if was == now:
            continue
        share = None
        if name in _DECIMALS and was and now and Decimal(was) and same_unit:
            share = float(Decimal(now) / Decimal(was) - 1)
        moves.append(Move(name, was, now, share))
    return tuple(moves)


def difference(old: Entry, new: Entry, *, number: int = 0) -> Changed | None:
    """What differs between two states of one entry; None where nothing does."""
    moves = _moves(old, new)
    return Changed(new, moves, number) if moves else None


def compare(old: Iterable[Entry], new: Sequence[Entry]) -> Comparison:
    """Two whole books, entry by entry."""
    before = {key_of(entry): entry for entry in old}
    after = {key_of(entry) for entry in new}
    added = tuple(entry for entry in new if key_of(entry) not in before)
    pairs = [(before[key_of(entry)], entry) for entry in new if key_of(entry) in before]
    changed = tuple(one for was, now in pairs if (one := difference(was, now)) is not None)
    gone = tuple(entry for key, entry in before.items() if key not in after)
    return Comparison(added, changed, gone, len(pairs) - len(changed))
