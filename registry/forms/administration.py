"""Small forms of administration: people, catalogue, monthly words, tables; what is right is the writers' to say."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from crispy_forms.helper import FormHelper
from django import forms
from django.core.files.uploadedfile import UploadedFile

from registry.canonical import NotReadable
from registry.case_fields import ID, NAME
from registry.drawings.phrases import raised
from registry.models import Site
from registry.reading.administration import REPORTING_WORDS, UseRow, models_by_class
from registry.recording.rows import Wrong
from registry.recording.tables_of_text import text_of_bytes
from registry.terms import OTHER, UNKNOWN
from registry.vocabulary import word_list

MOST_BYTES = 1_000_000
_NUMBER = {"inputmode": "numeric", "autocomplete": "off"}


def bare_helper() -> FormHelper:
    """Crispy prints the fields; the page has the form tag, its token and its one filled button."""
    helper = FormHelper()
    helper.form_tag = False
    helper.disable_csrf = True
    return helper


class SmallForm(forms.Form):
    """A form whose fields crispy prints."""

    def __init__(self, *arguments: Any, **options: Any) -> None:
        super().__init__(*arguments, **options)
        self.helper = bare_helper()

    def take(self, wrongs: Iterable[Wrong], fields: Mapping[str, str]) -> None:
        """What a writer refused, each beside its field where it has one (`fields`: column to field)."""
        for wrong in wrongs:
            sentence = f"{raised(wrong.says)}. Allowed: {wrong.allowed}."
            self.add_error(fields.get(wrong.field), sentence)


class SiteForm(SmallForm):
    """A form in which one of somebody's sites is chosen."""

    site = forms.ChoiceField(label="Site")

    def __init__(self, sites: Iterable[Site], *arguments: Any, **options: Any) -> None:
        super().__init__(*arguments, **options)
        self.fields["site"].choices = [(site.code, site.name) for site in sites]  # type: ignore[attr-defined]


class RoleForm(SiteForm):
    """A role at a site."""

    role = forms.ChoiceField(label="Role")

    def __init__(self, *arguments: Any, **options: Any) -> None:
        super().__init__(*arguments, **options)
        terms = word_list("account_role").terms.values()
        choices = [(term.code, term.label) for term in terms if term.code != UNKNOWN]
        self.fields["role"].choices = choices  # type: ignore[attr-defined]


class PersonForm(RoleForm):
    """Somebody new at a site."""

    email = forms.EmailField(
        label="E-mail address",
        max_length=254,
        widget=forms.EmailInput(attrs={"autocomplete": "off"}),
        help_text="With it the person signs in. An account that is there already gets the role.",
    )
    name = forms.CharField(
        label="Name",
        max_length=200,
        required=False,
        help_text="The person may change it on taking up the account.",
    )
    field_order = ("email", "name", "site", "role")


class ModelForm(SmallForm):
    """One device model of the catalogue."""

    stood = forms.CharField(required=False, widget=forms.HiddenInput)
    maker = forms.CharField(label="Maker", max_length=NAME)
    model = forms.CharField(
        label="Code", max_length=NAME, help_text="As cases and device uses name it; one code for one model."
    )
    name = forms.CharField(label="Name", max_length=NAME, required=False)
    device_class = forms.ChoiceField(label="Class")

    def __init__(self, *arguments: Any, known: bool, **options: Any) -> None:
        super().__init__(*arguments, **options)
        terms = word_list("device_class").terms.values()
        offered = [term for term in terms if not term.retired and term.code not in (UNKNOWN, OTHER)]
        chosen = sorted(((term.code, term.label) for term in offered), key=lambda pair: pair[1])
        self.fields["device_class"].choices = [("", "Choose a class"), *chosen]  # type: ignore[attr-defined]
        if known:
            self.fields["model"].widget.attrs["readonly"] = True
            self.fields["model"].help_text = "A code stays as it is: cases name it."


class RowsForm(SmallForm):
    """A table as a CSV file or as text; the text is what counts, a file takes its place."""

    file = forms.FileField(
        label="A CSV file of up to 1 MB",
        required=False,
        allow_empty_file=True,
        widget=forms.FileInput(attrs={"accept": ".csv,text/csv"}),
    )
    rows = forms.CharField(
        label="Or its rows as text",
        required=False,
        strip=False,
        widget=forms.Textarea(
            attrs={"rows": 10, "spellcheck": "false", "autocomplete": "off", "class": "rows-text"}
        ),
    )

    def clean(self) -> dict[str, Any]:
        """`rows` holds the text of the file where there is one."""
        cleaned = super().clean() or {}
        sent: UploadedFile | None = cleaned.get("file")
        text: str = cleaned.get("rows") or ""
        if sent is not None:
            text = self._text(sent)
        elif len(text.encode("utf-8", "replace")) > MOST_BYTES:
            self.add_error("rows", "The rows have more than 1 MB; send them in parts.")
        elif not text.strip() and "file" not in self.errors:
            self.add_error("file", "Choose a file, or paste its rows below.")
        cleaned["rows"] = text
        return cleaned

    def _text(self, sent: UploadedFile) -> str:
        if (sent.size or 0) > MOST_BYTES:
            self.add_error("file", f"{sent.name} has more than 1 MB; send it in parts, or use the command.")
            return ""
        try:
            return text_of_bytes(sent.read(), str(sent.name))
        except NotReadable as error:
            self.add_error("file", str(error))
            return ""


class ReturnForm(SmallForm):
    """A site's word for one month."""

    stood = forms.CharField(required=False, widget=forms.HiddenInput)
    procedures = forms.CharField(
        label="Procedures done",
        required=False,
        max_length=20,
        widget=forms.TextInput(attrs=_NUMBER),
        help_text="Empty: not recorded, which is not 0.",
    )
    reporting = forms.ChoiceField(
        label="Complications of this month",
        choices=[(str(code), words) for code, words in REPORTING_WORDS.items()],
        widget=forms.RadioSelect,
    )
    confirmed_by = forms.CharField(
        label="Confirmed by",
        required=False,
        max_length=ID,
        help_text="The site's staff code of whoever says so.",
    )


class UsesForm(SmallForm):
    """The uses of one month, a field a model; `wanted` holds what was typed, by the model's code."""

    stood = forms.CharField(required=False, widget=forms.HiddenInput)

    def __init__(self, rows: Iterable[UseRow], *arguments: Any, **options: Any) -> None:
        super().__init__(*arguments, **options)
        self.models = {field_of(row): row.model for row in rows}
        for row in rows:
            self.fields[field_of(row)] = forms.CharField(
                label=row.model.name or row.model.code,
                required=False,
                max_length=20,
                initial="" if row.uses is None else str(row.uses),
                help_text=f"{row.model.maker or 'Maker not recorded'}, {row.model.class_label.lower()}",
                widget=forms.TextInput(attrs=_NUMBER),
            )
        shown = [model.key for model in self.models.values()]
        self.fields["another"] = forms.ChoiceField(
            label="Another model", required=False, choices=[("", "Choose a model"), *models_by_class(shown)]
        )

    def wanted(self) -> dict[str, str]:
        """What was typed, by the model's code, in the order of the page."""
        return {model.code: self.cleaned_data[name] for name, model in self.models.items()}

    def take_uses(self, wrongs: Iterable[Wrong]) -> None:
        """What the writer refused, beside the model's field; lines count the models from 1."""
        names = list(self.models)
        for wrong in wrongs:
            name = names[wrong.line - 1] if wrong.field == "uses" else None
            self.add_error(name, f"{raised(wrong.says)}. Allowed: {wrong.allowed}, or empty.")


def field_of(row: UseRow) -> str:
    """The name of a model's field in `UsesForm`."""
    return f"uses_{row.model.key}"
