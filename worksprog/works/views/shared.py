"""What the works' pages share."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import render

from worksprog.clubs.door import ClubRequest
from worksprog.works.models import Programme


def keep(form: forms.BaseForm, change: Callable[[], Any]) -> bool:
    """Do what a good form asks for; a rule that is broken comes back as the form's own error."""
    if not form.is_valid():
        return False
    try:
        change()
    except ValidationError as error:
        if hasattr(error, "error_dict") and set(error.error_dict) <= {*form.fields, "__all__"}:
            form.add_error(None, error)
        else:
            form.add_error(None, error.messages)
        return False
    return True


def form_page(
    request: ClubRequest,
    *,
    form: forms.BaseForm,
    title: str,
    button: str,
    back: str,
    lead: str = "",
    sheet_name: str = "",
    **extra: Any,
) -> HttpResponse:
    """One form on a sheet of its own; 422 when what was sent could not be kept."""
    return render(
        request,
        "works/form.html",
        {
            "form": form,
            "title": title,
            "button": button,
            "back": back,
            "lead": lead,
            "sheet_name": sheet_name or f"Estimates · {title}",
            **extra,
        },
        status=422 if form.errors else 200,
    )


def show(request: ClubRequest, template: str, context: dict[str, Any]) -> HttpResponse:
    """A sheet that knows whether its reader may plan."""
    return render(request, template, {"may_plan": request.may("works.plan"), **context})


def title_block(programme: Programme) -> dict[str, str]:
    """The title block's programme, where the page's own is loaded already."""
    return {"sheet_programme": f"{programme.name}, revision {programme.revision}"}
