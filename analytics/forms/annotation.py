"""The form of a mark on the charts of a site: its day, its words, and whether it is about one model or all."""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from typing import Any

from django import forms
from django.utils import timezone

from analytics.recording import LONGEST
from registry.forms.administration import SiteForm
from registry.models import Site

EARLIEST = datetime.date(1977, 1, 1)
"""Before the first coronary angioplasty there is nothing to mark."""


class AnnotationForm(SiteForm):
    """`model` is the one whose page it is on, None on the page of all devices."""

    day = forms.DateField(
        label="Day",
        input_formats=["%Y-%m-%d"],
        widget=forms.DateInput(attrs={"autocomplete": "off"}),
        help_text="YYYY-MM-DD; not in the future",
        error_messages={
            "invalid": "This is not a day. Allowed: a day written YYYY-MM-DD.",
            "required": "Say which day.",
        },
    )
    words = forms.CharField(
        label="What happened",
        max_length=LONGEST,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="New stock, a changed pack, training: what a reader needs to know. Nothing of a patient.",
        error_messages={"required": "Say what happened on that day."},
    )
    about = forms.ChoiceField(label="It is about")

    def __init__(self, sites: Iterable[Site], model: str | None, *arguments: Any, **options: Any) -> None:
        super().__init__(sites, *arguments, **options)
        if model is None:
            del self.fields["about"]
        else:
            choices = [("model", f"{model} alone"), ("all", "All devices of the site")]
            self.fields["about"].choices = choices  # type: ignore[attr-defined]
            self.fields["about"].initial = "model"

    def clean_day(self) -> datetime.date:
        day: datetime.date = self.cleaned_data["day"]
        if not EARLIEST <= day <= timezone.localdate():
            raise forms.ValidationError(f"Allowed: a day from {EARLIEST} to today.")
        return day
