from __future__ import annotations

from django.urls import path

from worksprog.clubs import views

urlpatterns = [
    path("", views.club_home, name="club-home"),
    path("club/", views.settings_page, name="club-settings"),
    path("club/people/", views.add_member_page, name="add-member"),
    path("club/people/<int:user_id>/", views.member_page, name="member"),
    path("records/", views.records, name="records"),
]
