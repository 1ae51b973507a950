"""What every test shares."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import connection
from django.test import Client

from tests.cast import Cast, make_cast
from tests.outside.conftest import ROWS
from worksprog.celery import app


@pytest.fixture(autouse=True)
def quick_and_apart(settings: Any, tmp_path: Any) -> None:
    """Cheap password hashes, and files of a test's own."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    settings.MEDIA_ROOT = tmp_path / "files"


@pytest.fixture(scope="session")
def django_db_modify_db_settings(tmp_path_factory: Any) -> None:
    """SQLite in a file, as it is used: in memory, threads and worker processes could not share it."""
    if connection.vendor == "sqlite":
        connection.settings_dict["TEST"]["NAME"] = str(
            tmp_path_factory.mktemp("db") / "test.sqlite3"
        )


@pytest.fixture(autouse=True)
def jobs_in_line(request: Any) -> None:
    """A long job asked for in a test is done at once, in the test's own process, on commit."""
    app.conf.task_always_eager = request.node.get_closest_marker("jobs") is None


@pytest.fixture
def cast(db: None) -> Cast:
    return make_cast()


@pytest.fixture
def as_manager(cast: Cast) -> Client:
    return _signed_in(cast.manager)


@pytest.fixture
def as_committee(cast: Cast) -> Client:
    return _signed_in(cast.committee)


@pytest.fixture
def as_staff(cast: Cast) -> Client:
    return _signed_in(cast.staff)


@pytest.fixture
def as_stranger(cast: Cast) -> Client:
    return _signed_in(cast.stranger)


def _signed_in(user: Any) -> Client:
    client = Client()
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return client


def pytest_addoption(parser: Any) -> None:
    parser.addoption("--show-checks", action="store_true", help="print the outside-checks table")


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
