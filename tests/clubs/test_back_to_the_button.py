"""A button pressed after the sign-in ran out."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from tests.cast import Cast


@pytest.mark.parametrize(
    ("referer", "then"),
    [
        ("http://testserver/c/first/drainage/through/?page=2", "/c/first/drainage/through/?page=2"),
        ("http://elsewhere.example/c/first/", "/"),
        ("", "/"),
    ],
)
def test_signing_in_again_leads_back_to_the_page_of_the_button(
    cast: Cast, referer: str, then: str
) -> None:
    address = reverse("planning:make", args=[cast.club.slug])
    headers = {"referer": referer} if referer else {}
    answer = Client().post(address, headers=headers)
    assert answer.status_code == 302
    there = Client().get(answer["Location"])
    assert there.status_code == 200
    assert there.context["next"] == then


def test_a_page_asked_for_signed_out_is_where_the_sign_in_leads(cast: Cast) -> None:
    address = reverse("drainage:network", args=[cast.club.slug])
    assert Client().get(address)["Location"] == f"{reverse('sign-in')}?next={address}"
