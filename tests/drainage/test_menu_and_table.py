"""The drainage menu by role, and the check's table where it is narrow."""

from __future__ import annotations

from django.test import Client
from django.urls import reverse

from tests.cast import Cast
from tests.drainage.drawn import draw_pipe


def test_the_menu_offers_the_storm_to_who_may_set_it(
    cast: Cast, as_manager: Client, as_committee: Client, as_staff: Client
) -> None:
    network = reverse("drainage:network", args=[cast.club.slug])
    storm = reverse("drainage:storm", args=[cast.club.slug])
    assert storm in as_manager.get(network).content.decode()
    for page in (as_committee, as_staff):
        assert storm not in page.get(network).content.decode()


def test_what_is_folded_away_stands_below_the_name(cast: Cast, as_manager: Client) -> None:
    draw_pipe(cast.club, cast.manager, "P1", (0, 0), (100, 0), catchment_ha=0.3)
    text = as_manager.get(reverse("drainage:network", args=[cast.club.slug])).content.decode()
    folded = text.split('class="folded">', 1)[1].split("<", 1)[0]
    assert folded.startswith("100.0 m, drains 0.30 ha, ")
