"""Accounts through allauth: nobody signs up, everybody is invited."""

from __future__ import annotations

from collections.abc import Mapping

from allauth.account.adapter import DefaultAccountAdapter
from django.http import HttpRequest

from registry.models import Person


class ByInvitation(DefaultAccountAdapter):
    """Closes the registration that allauth would offer, and says in one sentence what was wrong."""

    error_messages = {
        **DefaultAccountAdapter.error_messages,
        "email_password_mismatch": "No account has this e-mail address with this password.",
        "enter_current_password": "This is not your present password.",
        "account_inactive": "This account is not active. Ask an administrator of your site.",
    }

    def is_open_for_signup(self, request: HttpRequest) -> bool:
        """Never: an administrator makes the account and hands over its invitation."""
        return False


def address_tried(request: HttpRequest, credentials: Mapping[str, str] | None = None) -> str:
    """The address with which somebody tries to sign in, however it was written: attempts are counted by it."""
    return Person.objects.normalise((credentials or {}).get("email") or request.POST.get("login", ""))
