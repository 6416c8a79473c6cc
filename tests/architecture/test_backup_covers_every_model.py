"""Every table of the project is either in the backup or named as left out, with the reason."""

from __future__ import annotations

from django.apps import apps
from django.db import models

from registry.recording.backup_format import CARRIED, NOT_CARRIED, model_of


def test_every_model_is_named_as_carried_or_as_not_carried() -> None:
    every = {model._meta.label for model in apps.get_models(include_auto_created=True)}
    assert every == {*CARRIED, *NOT_CARRIED}
    assert not {*CARRIED} & {*NOT_CARRIED}


def test_no_model_is_left_out_without_a_reason() -> None:
    assert all(reason.strip() for reason in NOT_CARRIED.values())


def test_of_our_own_models_only_what_is_made_anew_is_left_out() -> None:
    own = {label for label in NOT_CARRIED if label.split(".")[0] in ("registry", "analytics", "casebook")}
    assert own == {"analytics.Snapshot"}
    assert NOT_CARRIED["analytics.Snapshot"] == "made anew from the record"


KINDS_THAT_A_BACKUP_HOLDS = (
    models.CharField,
    models.TextField,
    models.IntegerField,
    models.BooleanField,
    models.DateField,
    models.DecimalField,
    models.UUIDField,
)


def test_every_column_is_of_a_kind_that_a_backup_holds() -> None:
    for label in CARRIED:
        for field in model_of(label)._meta.concrete_fields:
            kept = field.target_field if isinstance(field, models.ForeignKey) else field
            assert isinstance(kept, KINDS_THAT_A_BACKUP_HOLDS), f"{label}.{field.name}"


def test_every_table_comes_after_those_that_it_refers_to() -> None:
    for number, label in enumerate(CARRIED):
        for field in model_of(label)._meta.concrete_fields:
            if isinstance(field, models.ForeignKey):
                assert field.related_model._meta.label in CARRIED[:number], f"{label}.{field.name}"
