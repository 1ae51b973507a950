"""The one type by which any result tells how it was computed, line by line."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True)
class Step:
    """One line of working.

    symbol   the letter the formula uses ("V")
    meaning  what it stands for ("velocity, running full")
    formula  the formula in words or symbols; "" for a value that was put in
    value    the number itself, or a word where the result is a verdict
    unit     SI unit as printed ("m/s"); "" when there is none
    source   where the formula or the value comes from
    """

    symbol: str
    meaning: str
    value: float | str
    unit: str = ""
    formula: str = ""
    source: str = ""

    def printed(self) -> str:
        """The value as it is shown: four significant figures, no exponent for everyday sizes."""
        if isinstance(self.value, str):
            return self.value
        if self.value == 0:
            return "0"
        size = abs(self.value)
        if size >= 1000:
            return f"{self.value:,.0f}"
        if size >= 1e-4:
            return f"{self.value:.4g}"
        return f"{self.value:.3e}"


@dataclass(frozen=True)
class Working:
    """A titled list of steps; the last one is the result."""

    title: str
    steps: tuple[Step, ...] = field(default_factory=tuple)
    notes: tuple[str, ...] = ()

    def as_rows(self) -> list[dict[str, str]]:
        """Rows for a page, a PDF or a frozen record: plain strings only."""
        return [
            {
                "symbol": step.symbol,
                "meaning": step.meaning,
                "formula": step.formula,
                "value": step.printed(),
                "unit": step.unit,
                "source": step.source,
            }
            for step in self.steps
        ]
