"""The Celery application: every long job goes through it, and the database row of a run is the truth."""

from __future__ import annotations

import os

from celery import Celery

from worksprog.runs.sweeping import SweepStep

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "worksprog.settings")

app = Celery("worksprog")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
app.steps["worker"].add(SweepStep)
