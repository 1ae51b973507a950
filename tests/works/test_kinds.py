"""A club's own kind of work: kept only when its formulas and its worked numbers are in order."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse
from shapely.geometry import LineString

from tests.works.conftest import draw
from worksprog.calc import build_up as calc
from worksprog.course.models import Kind
from worksprog.works import services
from worksprog.works.models import WorkRecipe
from worksprog.works.recipes import kinds_of, recipe_of

DEFINITION: dict[str, Any] = {
    "kind": "steps_in_sleepers",
    "title": "Steps in sleepers",
    "on": ["path"],
    "progress": "steps",
    "measures": [{"name": "length_m", "label": "length along the line", "unit": "m"}],
    "parameters": [
        {"name": "going_m", "label": "going of one step", "unit": "m", "usual": [0.4, 0.5, 0.6],
         "bounds": [0.2, 1.5]},
        {"name": "wide_m", "label": "width", "unit": "m", "usual": 1.5, "bounds": [0.6, 4]},
    ],
    "quantities": [
        {"name": "steps", "label": "steps", "unit": "no",
         "formula": "round_up(length_m / going_m)"},
        {"name": "sleepers", "label": "sleepers", "unit": "m", "formula": "steps * wide_m"},
    ],
    "lines": [
        {"key": "set", "category": "labour", "description": "Set a sleeper", "quantity": "steps",
         "price": "labour-crew", "rate": "set_sleeper"},
        {"key": "sleeper", "category": "material", "description": "Sleeper", "quantity": "sleepers",
         "price": "sleeper-oak"},
    ],
}  # fmt: skip
EXAMPLE = {"given": {"length_m": 6.0}, "expected": {"steps": 12, "sleepers": 18}}


def keep(cast, definition=DEFINITION, examples=(EXAMPLE,), **more):
    return services.keep_kind(
        club=cast.club, definition=definition, examples=list(examples), by=cast.manager, **more
    )


def changed(part: str, place: int, **figures):
    rows = [dict(row) for row in DEFINITION[part]]
    rows[place] |= figures
    return {**DEFINITION, part: rows}


@pytest.fixture
def priced(cast, works):
    """The price book has what the steps ask for."""
    services.set_price(
        club=cast.club,
        by=cast.manager,
        dated=cast.club.today(),
        code="sleeper-oak",
        category="material",
        name="Oak sleeper",
        unit="m",
        low=Decimal(20),
        likely=Decimal(25),
        high=Decimal(30),
    )
    services.set_output_rate(
        club=cast.club,
        by=cast.manager,
        dated=cast.club.today(),
        code="set_sleeper",
        name="Set a sleeper",
        unit="no",
        low=Decimal(1),
        likely=Decimal(2),
        high=Decimal(4),
    )
    return works


def test_an_item_of_an_own_kind_is_measured_and_priced(cast, priced):
    keep(cast)
    path = draw(cast, Kind.PATH, LineString([(400000, 300000), (400000, 300012)]), ref="P77")
    item = services.create_item(
        phase=priced.phase, kind="steps_in_sleepers", name="Steps to 7 tee", by=None,
        features=[path],
    )  # fmt: skip
    assert item.get_kind_display() == "Steps in sleepers"
    estimate = services.build_estimate(item=item, by=cast.manager)
    assert (estimate.quantity, estimate.unit) == (24, "no")
    lines = {line.step: line for line in estimate.lines.all()}
    # 24 steps at 2 an hour; 24 × 1.5 m at 25; fewer steps where the going is long
    assert lines["set"].quantity_likely == 12
    assert lines["sleeper"].amount_likely == Decimal("900.00")
    assert (lines["sleeper"].quantity_low, lines["sleeper"].quantity_high) == (30, 45)


@pytest.mark.parametrize(
    ("definition", "words"),
    [
        (changed("quantities", 1, formula="steps * wid_m"), "Is 'wide_m' meant"),
        (changed("quantities", 1, formula="steps * wide_m * 2[m]"), "comes out in m²"),
        (changed("quantities", 1, formula="sleepers + wide_m"), "ring"),
        (changed("quantities", 1, formula="steps * wide_m * (1"), "expected"),
        (changed("quantities", 0, formula="round_up(length_m)"), "bare number"),
        (changed("lines", 0, quantity="stairs"), "no quantity 'stairs'"),
        (changed("lines", 0, rate=""), "needs an output rate"),
        (changed("lines", 0, category="gold"), "one of labour"),
        (changed("lines", 1, key="set"), "two lines"),
        (changed("lines", 1, price="sleeper-{wood}"), "asks for 'wood'"),
        (changed("parameters", 0, usual=[0.6, 0.5, 0.4]), "must rise"),
        (changed("parameters", 0, bounds=[0.5, 1.5]), "outside its bounds"),
        (changed("measures", 0, name="wide_m"), "own name"),
        (changed("measures", 0, unit="yards"), "not a unit"),
        ({**DEFINITION, "progress": "stairs"}, "progress"),
        ({**DEFINITION, "lines": []}, "At least one line"),
        ({**DEFINITION, "kind": "Steps!"}, "small letters"),
        ({**DEFINITION, "eval": "1"}, "not known"),
    ],
)
def test_what_is_not_in_order_is_told_and_not_kept(cast, definition, words):
    with pytest.raises(ValidationError, match=words.replace("(", r"\(")):
        keep(cast, definition)
    assert not WorkRecipe.objects.exists()


def test_worked_numbers_must_come_out(cast):
    with pytest.raises(ValidationError, match="Worked numbers are expected"):
        keep(cast, examples=[])
    wrong = {"given": {"length_m": 6.0}, "expected": {"steps": 13, "treads": 2}}
    with pytest.raises(ValidationError) as told:
        keep(cast, examples=[EXAMPLE, wrong])
    assert told.value.messages == [
        "Example 2: steps: 13 expected, 12 found.",
        "Example 2: There is no quantity 'treads'.",
    ]
    nought = {"given": {"length_m": 6.0, "going_m": 0}, "expected": {"steps": 1}}
    with pytest.raises(ValidationError, match="divides by 'going of one step', which is 0"):
        keep(cast, examples=[nought])
    strange = {"given": {"depth": 1}, "expected": {"steps": 1}}
    with pytest.raises(ValidationError, match="neither measured nor a figure"):
        keep(cast, examples=[strange])


def test_a_change_made_from_an_older_version_is_refused(cast):
    row = keep(cast)
    keep(cast, row=row, seen=1)
    with pytest.raises(ValidationError, match="changed in the meantime; it is at version 2"):
        keep(cast, row=row, seen=1)
    assert recipe_of(cast.club, row.code).version == 2


def test_a_code_is_used_once(cast):
    keep(cast)
    for kind in ("steps_in_sleepers", "carrier_pipe"):
        with pytest.raises(ValidationError, match="already"):
            keep(cast, {**DEFINITION, "kind": kind})


def test_withdrawn_it_is_not_offered_and_taken_away_only_when_unused(cast, priced):
    club = cast.club
    row = keep(cast)
    assert ("steps_in_sleepers", "Steps in sleepers") in kinds_of(club)
    services.offer_kind(row=row, offered=False, by=cast.manager)
    assert "steps_in_sleepers" not in dict(kinds_of(club))
    services.create_item(phase=priced.phase, kind=row.code, name="Steps", by=None)
    with pytest.raises(ValidationError, match="1 item is of this kind"):
        services.drop_kind(row=row, by=cast.manager)
    assert recipe_of(club, row.code).title == "Steps in sleepers"


@pytest.mark.parametrize("kind", sorted(calc.RECIPES))
def test_a_shipped_kind_reads_back_from_its_definition(kind):
    recipe = calc.RECIPES[kind]
    assert calc.recipe_from(calc.definition_of(recipe)) == recipe


def form_data(client, address):
    """What the form holds, as a browser would send it back."""
    sheet = client.get(address).context["sheet"]
    data = {name: sheet.head[name].value() for name in sheet.head.fields}
    data = {name: value for name, value in data.items() if value is not None}
    for part in sheet.parts.values():
        rows = part["rows"]
        data |= {
            f"{rows.management_form.prefix}-{name}": rows.management_form[name].value()
            for name in rows.management_form.fields
        }
        for row in rows.forms:
            for name in row.fields:
                value = row[name].value()
                if value is not None and value is not False:
                    data[row.add_prefix(name)] = value
    return data


def test_one_is_made_from_another_by_its_form(cast, client):
    client.force_login(cast.manager, backend="django.contrib.auth.backends.ModelBackend")
    slug = cast.club.slug
    address = reverse("works:new-kind", args=[slug]) + "?like=turfing"
    data = form_data(client, address)
    refused = client.post(address, data)
    assert refused.status_code == 422
    assert "Worked numbers are expected" in refused.text, refused.context["wrong"]
    data |= {"examples-0-takes": "area_m2 = 50", "examples-0-gives": "area = 50,5"}
    assert "parted by semicolons" in client.post(address, data).text
    data |= {"examples-0-gives": "area = 50"}
    done = client.post(address, data)
    assert done.status_code == 302, done.context["wrong"]
    row = WorkRecipe.objects.get()
    own, shipped = recipe_of(cast.club, row.code), calc.RECIPES["turfing"]
    assert own.lines == shipped.lines
    assert own.quantities == shipped.quantities
    page = client.get(done["Location"])
    assert "area_m2 = 50" in page.text
    again = reverse("works:edit-kind", args=[slug, row.uuid])
    assert client.post(again, form_data(client, again)).status_code == 302
    row.refresh_from_db()
    assert row.version == 2


def test_pages_of_the_kinds_take_few_queries(cast, client, django_assert_max_num_queries):
    client.force_login(cast.manager, backend="django.contrib.auth.backends.ModelBackend")
    row = keep(cast)
    slug = cast.club.slug
    for address in (
        reverse("works:kinds", args=[slug]),
        reverse("works:own-kind", args=[slug, row.uuid]),
        reverse("works:edit-kind", args=[slug, row.uuid]),
        reverse("works:shipped-kind", args=[slug, "carrier_pipe"]),
    ):
        with django_assert_max_num_queries(12):
            assert client.get(address).status_code == 200
