"""The form of a word on a signal: the state that it now has, and why."""

from __future__ import annotations

from django import forms

from analytics.recording import LONGEST
from registry.forms.administration import SmallForm
from registry.terms import SignalState

STATES = [
    (SignalState.BEING_REVIEWED.value, "Being reviewed"),
    (SignalState.EXPLAINED.value, "Explained: say why"),
    (SignalState.ACTED_ON.value, "Acted on: say what was done"),
]


class AnswerForm(SmallForm):
    """`crossings` is how many crossings the page had shown, so that a later one is not taken for answered."""

    state = forms.ChoiceField(
        label="What is its state now?",
        choices=STATES,
        widget=forms.RadioSelect,
        error_messages={
            "required": "Choose a state.",
            "invalid_choice": "This is no state that can be chosen. Allowed: being reviewed, explained, acted on.",
        },
    )
    words = forms.CharField(
        label="Your word on it",
        required=False,
        max_length=LONGEST,
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text="What was looked at, and what was found. Every site reads it: nothing of a patient.",
    )
    crossings = forms.IntegerField(min_value=0, max_value=1_000_000, widget=forms.HiddenInput)
