"""Routes of the whole."""

from __future__ import annotations

from allauth.account import views as account
from django.urls import URLPattern, URLResolver, include, path

from deploy.home import due, home, home_figures
from deploy.views import invitation, rights_page

urlpatterns: list[URLPattern | URLResolver] = [
    path("", home, name="home"),
    path("today/figures/", home_figures, name="home_figures"),
    path("today/<str:which>/", due, name="due"),
    path("rights/", rights_page, name="rights"),
    path("invitation/<str:secret>", invitation, name="invitation"),
    path("account/sign-in/", account.login, name="account_login"),
    path("account/sign-out/", account.logout, name="account_logout"),
    path("account/sign-up/", account.signup, name="account_signup"),
    path("account/password/", account.password_change, name="account_change_password"),
    path("account/password/set/", account.password_set, name="account_set_password"),
    path("account/inactive/", account.account_inactive, name="account_inactive"),
    path("account/again/", account.reauthenticate, name="account_reauthenticate"),
    path("account/address/", account.email, name="account_email"),
    path("account/address/sent/", account.email_verification_sent, name="account_email_verification_sent"),
    path("", include("registry.urls")),
    path("", include("analytics.urls")),
]

handler400 = "deploy.views.not_understood"
