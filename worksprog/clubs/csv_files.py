"""CSV as spreadsheets read it: RFC 4180, UTF-8 with its mark, no cell taken for a formula."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence

from django.http import HttpResponse

_STARTS = frozenset("=+-@\t\r\n＝＋－＠")
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")


def reads_as_formula(text: str) -> bool:
    """Whether a spreadsheet may work the words out: its own signs first, and not a plain number."""
    if text[:1] not in _STARTS and text.lstrip()[:1] not in _STARTS:
        return False
    return not _NUMBER.fullmatch(text)


def guarded(cell: object) -> str:
    """Words that a spreadsheet would take for a formula get an apostrophe; numbers stay numbers."""
    text = str(cell)
    return f"'{text}" if reads_as_formula(text) else text


def unguarded(text: str) -> str:
    """The words as they were before ``guarded``."""
    return text[1:] if text[:1] == "'" and reads_as_formula(text[1:]) else text


def csv_answer(name: str, header: Sequence[str], rows: Iterable[Sequence[object]]) -> HttpResponse:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(header)
    writer.writerows([guarded(cell) for cell in row] for row in rows)
    answer = HttpResponse(
        ("\ufeff" + out.getvalue()).encode(), content_type="text/csv; charset=utf-8"
    )
    answer["Content-Disposition"] = f'attachment; filename="{name}.csv"'
    return answer
