"""Whether this process can do its work: the database answers, and the broker takes messages."""

from __future__ import annotations

import os

from django.conf import settings
from django.db import DatabaseError, connection
from django.http import HttpRequest, JsonResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe
from kombu.exceptions import OperationalError

from worksprog.celery import app

LONGEST_WAIT_S = 3


def database_answers() -> bool:
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
    except DatabaseError:
        return False
    return True


def broker_answers() -> bool:
    if settings.CELERY_BROKER_URL.startswith("filesystem"):
        return os.access(settings.CELERY_BROKER_TRANSPORT_OPTIONS["data_folder_in"], os.W_OK)
    try:
        with app.connection_for_write(connect_timeout=LONGEST_WAIT_S) as broker:
            broker.ensure_connection(max_retries=1, timeout=LONGEST_WAIT_S)
    except (OperationalError, OSError):
        return False
    return True


@never_cache
@require_safe
def healthz(request: HttpRequest) -> JsonResponse:
    """For whoever watches the service; open to all, so it tells nothing but these two words."""
    parts = {"database": database_answers(), "broker": broker_answers()}
    told = {name: "answers" if ok else "does not answer" for name, ok in parts.items()}
    return JsonResponse(told, status=200 if all(parts.values()) else 503)
