from __future__ import annotations

from django.contrib.auth import views as auth
from django.urls import path

from worksprog.clubs import views

urlpatterns = [
    path("", views.home, name="home"),
    path(
        "sign-in/",
        auth.LoginView.as_view(
            template_name="clubs/sign_in.html", redirect_authenticated_user=True
        ),
        name="sign-in",
    ),
    path("sign-out/", auth.LogoutView.as_view(), name="sign-out"),
    path(
        "password/",
        auth.PasswordResetView.as_view(
            template_name="clubs/password_reset.html",
            email_template_name="clubs/password_reset.txt",
            subject_template_name="clubs/password_reset_subject.txt",
        ),
        name="password_reset",
    ),
    path(
        "password/sent/",
        auth.PasswordResetDoneView.as_view(template_name="clubs/password_sent.html"),
        name="password_reset_done",
    ),
    path(
        "password/<uidb64>/<token>/",
        auth.PasswordResetConfirmView.as_view(template_name="clubs/password_choose.html"),
        name="password_reset_confirm",
    ),
    path(
        "password/chosen/",
        auth.PasswordResetCompleteView.as_view(template_name="clubs/password_chosen.html"),
        name="password_reset_complete",
    ),
]
