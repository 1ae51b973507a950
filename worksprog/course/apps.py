from __future__ import annotations

from django.apps import AppConfig


class CourseConfig(AppConfig):
    name = "worksprog.course"
