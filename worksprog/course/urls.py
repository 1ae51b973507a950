from __future__ import annotations

from django.urls import URLPattern, URLResolver

app_name = "course"
urlpatterns: list[URLPattern | URLResolver] = []
