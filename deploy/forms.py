"""Small forms of the frame."""

from __future__ import annotations

from typing import Any

from crispy_forms.helper import FormHelper
from crispy_forms.layout import Submit
from django import forms
from django.contrib.auth.password_validation import validate_password

from registry.models import Person


class TakeUpForm(forms.Form):
    """Name and password of somebody who takes up an invitation."""

    name = forms.CharField(label="Your name, as colleagues read it", max_length=200)
    password = forms.CharField(
        label="Password, of at least 12 characters",
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )
    again = forms.CharField(
        label="The password once more", widget=forms.PasswordInput(attrs={"autocomplete": "new-password"})
    )

    def __init__(self, person: Person, *arguments: Any, **options: Any) -> None:
        super().__init__(*arguments, **options)
        self.person = person
        self.helper = FormHelper()
        self.helper.add_input(Submit("take_up", "Take up the account"))

    def clean_password(self) -> str:
        """Checked by the site's rules for passwords."""
        password: str = self.cleaned_data["password"]
        validate_password(password, self.person)
        return password

    def clean(self) -> dict[str, Any]:
        """The two passwords are one."""
        cleaned = super().clean() or {}
        if cleaned.get("password") and cleaned["password"] != cleaned.get("again"):
            self.add_error("again", "The two passwords differ.")
        return cleaned
