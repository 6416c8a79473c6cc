"""Small forms of the frame; those of the library that signs people in, in our own words."""

from __future__ import annotations

from typing import Any

from allauth.account.forms import ChangePasswordForm, LoginForm
from crispy_forms.helper import FormHelper
from crispy_forms.layout import Submit
from django import forms
from django.contrib.auth.password_validation import validate_password

from registry.models import Person


class TakeUpForm(forms.Form):
    """Name and password of somebody who takes up an invitation."""

    email = forms.EmailField(
        label="E-mail address, with which you sign in",
        disabled=True,
        widget=forms.EmailInput(attrs={"autocomplete": "username"}),
    )
    name = forms.CharField(
        label="Your name, as colleagues read it",
        max_length=200,
        widget=forms.TextInput(attrs={"autocomplete": "name"}),
    )
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
        self.fields["email"].initial = person.email
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


class SignInForm(LoginForm):
    """E-mail address and password."""

    def __init__(self, *arguments: Any, **options: Any) -> None:
        super().__init__(*arguments, **options)
        _in_our_words(self, {"login": "E-mail address", "password": "Password"})


class NewPasswordForm(ChangePasswordForm):
    """The present password, and a new one twice."""

    def __init__(self, *arguments: Any, **options: Any) -> None:
        super().__init__(*arguments, **options)
        labels = {
            "oldpassword": "Present password",
            "password1": "New password",
            "password2": "The new password once more",
        }
        _in_our_words(self, labels)
        self.fields[
            "password1"
        ].help_text = (
            "At least 12 characters, not only digits; nothing much used, nothing like your name or address."
        )


def _in_our_words(form: forms.Form, labels: dict[str, str]) -> None:
    """Labels above the fields alone: the library repeats its own inside them."""
    for name, label in labels.items():
        form.fields[name].label = label
        form.fields[name].widget.attrs.pop("placeholder", None)
