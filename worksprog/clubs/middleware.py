"""What stands between every page and its reader."""

from __future__ import annotations

from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render


def own_page_for_nothing_there(
    get_response: Callable[[HttpRequest], HttpResponse],
) -> Callable[[HttpRequest], HttpResponse]:
    """The demonstration runs with DEBUG on; its visitors still get the program's own 404 page."""

    def answer(request: HttpRequest) -> HttpResponse:
        response = get_response(request)
        wants_a_page = "text/html" in request.headers.get("Accept", "")
        if settings.DEBUG and response.status_code == 404 and wants_a_page:
            return render(request, "404.html", status=404)
        return response

    return answer
