"""What every test shares."""

from __future__ import annotations

from typing import Any

from tests.outside.conftest import ROWS


def pytest_terminal_summary(terminalreporter: Any, config: Any) -> None:
    """Print the table of outside checks when asked (``make checks``)."""
    rows = config.stash.get(ROWS, [])
    if not rows or not config.getoption("--show-checks"):
        return
    terminalreporter.section("Outside checks")
    head = ("quantity", "expected", "got", "tolerance", "source")
    widths = [max(len(row[i]) for row in [head, *rows]) for i in range(5)]
    for row in [head, *rows]:
        terminalreporter.write_line(
            "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
        )


def pytest_addoption(parser: Any) -> None:
    parser.addoption("--show-checks", action="store_true", help="print the outside-checks table")
