"""What must not be kept: figures beyond reason, dates out of reach, the same sending twice."""

from __future__ import annotations

import uuid
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import reverse

from tests.cast import Cast
from worksprog.clubs.templatetags.figures import fig, unit_doubt
from worksprog.works import services
from worksprog.works.forms.items import LineForm
from worksprog.works.models import Consent, EstimateLine, Item, OutputRate, Price, Spend


@pytest.fixture
def manager(client: Client, cast: Cast) -> Client:
    client.force_login(cast.manager, backend="django.contrib.auth.backends.ModelBackend")
    return client


def at(name: str, cast: Cast, row: Any) -> str:
    return reverse(f"works:{name}", args=[cast.club.slug, row.uuid])


def figures(line: EstimateLine, **changes: Any) -> dict[str, Any]:
    return {**LineForm(line=line).initial, **changes}


@pytest.fixture
def carrier_line(works: Any, cast: Cast) -> EstimateLine:
    services.build_estimate(item=works.carrier, by=cast.manager)
    line = EstimateLine.objects.filter(estimate__item=works.carrier).first()
    assert line is not None
    return line


def test_a_quantity_beyond_reason_is_refused(
    manager: Client, cast: Cast, carrier_line: EstimateLine
) -> None:
    address = at("line", cast, carrier_line)
    answer = manager.post(address, figures(carrier_line, quantity_high="1e308"))
    assert answer.status_code == 422
    assert "less than or equal to" in answer.text
    with pytest.raises(ValidationError, match="quantity of up to 1,000,000,000"):
        services.edit_line(
            line=carrier_line, by=cast.manager, figures=_huge(carrier_line),
        )  # fmt: skip


def _huge(line: EstimateLine) -> services.LineFigures:
    from worksprog.calc.build_up import MoneyRange
    from worksprog.calc.ranges import ThreePoint

    return services.LineFigures(
        category=line.category,
        description="x",
        unit="h",
        quantity=ThreePoint(1, 2, 1e308),
        price=MoneyRange.exactly(Decimal(1)),
    )


def test_a_figure_too_large_to_write_out_is_still_written() -> None:
    assert fig(1e308) == "1e+308"
    assert fig(1234.5, 1) == "1,234.5"


@pytest.mark.parametrize("share", ["-1", "0", "9"])
def test_a_share_of_the_week_lies_between_nothing_and_all(
    manager: Client, cast: Cast, works: Any, share: str
) -> None:
    answer = manager.post(
        at("edit-item", cast, works.carrier),
        {"name": "x", "max_share": share, "growing_in_weeks": 0},
    )
    assert answer.status_code == 422
    assert Item.objects.get(pk=works.carrier.pk).max_share == 1


@pytest.mark.parametrize("day", ["0001-01-01", "9999-12-31"])
def test_years_out_of_reach_are_refused(manager: Client, cast: Cast, works: Any, day: str) -> None:
    approved = manager.post(at("approve", cast, works.project), {"amount": 5, "approved_on": day})
    spent = manager.post(
        at("new-spend", cast, works.carrier), {"spent_on": day, "description": "x", "amount": 5}
    )
    for answer in (approved, spent):
        assert answer.status_code == 422
        assert "between 1950 and 2150" in answer.text


def test_a_key_that_no_database_holds_is_not_offered(
    manager: Client, cast: Cast, works: Any
) -> None:
    answer = manager.post(
        at("edit-item", cast, works.carrier),
        {"name": "x", "max_share": 1, "growing_in_weeks": 0, "features": "9" * 20},
    )
    assert answer.status_code == 422


def test_a_form_sent_twice_adds_once(
    manager: Client, cast: Cast, works: Any, carrier_line: EstimateLine
) -> None:
    once = str(uuid.uuid4())
    spend = {"spent_on": "2026-10-01", "description": "stone", "amount": 100, "once": once}
    consent = {"name": "Consent", "once": once}
    own = figures(
        carrier_line, once=once, category="contractor", unit="no", description="own", seen=""
    )
    lines = EstimateLine.objects.count()
    for name, data in (("new-spend", spend), ("new-consent", consent), ("new-line", own)):
        for _ in range(2):
            assert manager.post(at(name, cast, works.carrier), data).status_code == 302
    assert Spend.objects.count() == Consent.objects.count() == 1
    assert EstimateLine.objects.count() == lines + 1
    manager.post(at("new-spend", cast, works.carrier), {**spend, "once": str(uuid.uuid4())})
    assert Spend.objects.count() == 2


def _form(client: Client, address: str) -> dict[str, Any]:
    form = client.get(address).context["form"]
    values = {name: form[name].value() for name in form.fields}
    return {name: value for name, value in values.items() if value not in (None, False)}


@pytest.mark.parametrize(
    ("model", "name", "field"), [(Price, "price", "name"), (OutputRate, "rate", "name")]
)
def test_two_at_once_do_not_write_over_each_other(
    manager: Client, cast: Cast, works: Any, model: Any, name: str, field: str
) -> None:
    row = model.objects.first()
    address = at(name, cast, row)
    mine, yours = _form(manager, address), _form(manager, address)
    assert manager.post(address, {**mine, field: "Mine"}).status_code == 302
    answer = manager.post(address, {**yours, "source": "yours"})
    assert answer.status_code == 422
    assert "changed in the meantime by somebody else" in answer.text
    row.refresh_from_db()
    assert getattr(row, field) == "Mine"
    assert row.source != "yours"


def test_two_at_once_on_a_line(
    manager: Client, cast: Cast, works: Any, carrier_line: EstimateLine
) -> None:
    address = at("line", cast, carrier_line)
    mine, yours = figures(carrier_line, description="Mine"), figures(carrier_line, rate_high=9999)
    assert manager.post(address, mine).status_code == 302
    answer = manager.post(address, yours)
    assert answer.status_code == 422
    assert "changed in the meantime" in answer.text
    carrier_line.refresh_from_db()
    assert carrier_line.description == "Mine"


def test_hours_given_back_beyond_reason_are_refused(
    manager: Client, cast: Cast, works: Any
) -> None:
    data = {
        "what": "leaves", "words": "x", "hours_low": 1, "hours_likely": 2, "hours_high": "1e308",
        "days_low": 0, "days_likely": 0, "days_high": 0, "money_a_year": 0, "years": 20,
        "promised_on": "2026-10-01",
    }  # fmt: skip
    answer = manager.post(at("new-promise", cast, works.project), data)
    assert answer.status_code == 422


def test_a_unit_that_nobody_knows_is_doubted_and_no_other() -> None:
    assert "not known" in unit_doubt("furlong")
    assert [unit_doubt(unit) for unit in ("m³", "t", "no", "h", "kg/m²", "load")] == [""] * 6
