"""Two phones, two taps, two tabs at the same moment."""

from __future__ import annotations

import threading
import uuid
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.db.models import Sum

from tests.cast import make_cast
from tests.hours.conftest import Site, make_site
from worksprog.hours.models import HourEntry

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def shared() -> Site:
    return make_site(make_cast())


def at_once(works: list[Callable[[], Any]]) -> list[Any]:
    """Do all of them from threads that start together; results or errors in their order."""
    gate = threading.Barrier(len(works))
    results: list[Any] = [None] * len(works)

    def run(place: int) -> None:
        try:
            gate.wait()
            results[place] = works[place]()
        except Exception as error:
            results[place] = error
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=(place,)) for place in range(len(works))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return results


def test_the_same_entry_from_many_at_once_is_logged_once(shared: Site) -> None:
    number = uuid.uuid4()
    results = at_once([lambda: shared.log(client_id=number, hours="6.5")] * 8)
    assert {one.pk for one in results} == {HourEntry.objects.get().pk}


def test_a_day_never_passes_24_hours(shared: Site) -> None:
    results = at_once([lambda: shared.log(hours=9)] * 5)
    refused = [one for one in results if isinstance(one, ValidationError)]
    assert len(refused) == 3
    assert HourEntry.objects.aggregate(total=Sum("hours"))["total"] == Decimal(18)


def test_one_number_from_two_people_stays_with_one(shared: Site) -> None:
    number = uuid.uuid4()
    results = at_once(
        [
            lambda: shared.log(client_id=number),
            lambda: shared.log(shared.cast.other_staff, client_id=number),
        ]
    )
    assert sorted(type(one).__name__ for one in results) == ["HourEntry", "ValidationError"]
    assert HourEntry.objects.count() == 1
