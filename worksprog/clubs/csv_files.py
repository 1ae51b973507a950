"""CSV as spreadsheets read it: RFC 4180, UTF-8 with its mark, no cell taken for a formula."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

from django.http import HttpResponse


def guarded(cell: object) -> str:
    """Words that a spreadsheet would take for a formula get an apostrophe; numbers stay numbers."""
    text = str(cell)
    if text[:1] not in ("=", "+", "-", "@", "\t", "\r"):
        return text
    try:
        float(text)
    except ValueError:
        return f"'{text}"
    return text


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
