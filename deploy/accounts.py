"""Accounts through allauth: nobody signs up, everybody is invited."""

from __future__ import annotations

from allauth.account.adapter import DefaultAccountAdapter
from django.http import HttpRequest


class ByInvitation(DefaultAccountAdapter):
    """Closes the registration that allauth would offer."""

    def is_open_for_signup(self, request: HttpRequest) -> bool:
        """Never: an administrator makes the account and hands over its invitation."""
        return False
