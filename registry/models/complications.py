"""Complications, what was done about them in order, what was declined, what was left, and what was harmed.

The derived columns are written only by `recording/`, from `case_ladders.counted_complications`; a test recounts them
from the documents. They carry what the pages ask, so that a page counts in one statement on one table.
"""

from __future__ import annotations

from django.db import models

from registry import case_fields as fields
from registry.models import columns
from registry.models.columns import CaseRow, Placed, WithDevice, hard_limits, limits_of, one_of
from registry.models.places import Site
from registry.terms import OTHER, UNKNOWN, Aim, Cause, Result


class CountedRow(CaseRow):
    """A row that enters figures, with the site and the days of its procedure copied onto it.

    `month` is the first day of the procedure's month, empty where the date is known to the year only.
    """

    site = models.ForeignKey(Site, models.PROTECT, related_name="+")
    earliest = models.DateField()
    latest = models.DateField()
    month = models.DateField(null=True)

    class Meta:
        abstract = True


class Complication(WithDevice, Placed, CountedRow):
    """One device going wrong within a case."""

    ref = columns.name(fields.REF)
    caused_by = columns.name(fields.REF)
    after_position = columns.position()
    actions_known = columns.code()
    ended_where = columns.code()
    ended_case = columns.name(fields.ID)
    began_where = columns.code()
    began_case = columns.name(fields.ID)
    lesion = columns.name(fields.REF)
    device_part_failed = columns.code()
    device_length_out_mm = columns.number()
    device_reprocessed = columns.code()
    device_kept = columns.code()
    situation = models.CharField(max_length=64)
    mechanisms = columns.listing()
    phase = columns.code()
    recognised_when = columns.code()
    recognised_minute = columns.number()
    recognised_day = columns.whole()
    ending = models.CharField(max_length=64)
    harm_scale = columns.code()
    harm_grade = columns.code()

    counted = models.BooleanField(default=False)
    """Derived: the case is submitted or locked."""
    acts_counted = models.BooleanField(default=False)
    """Derived: counted, and its acts are all known, so that it enters the figures of techniques (R11)."""
    in_device_rate = models.BooleanField(default=False)
    """Derived: counted, and it began in this procedure (R12)."""
    cause = models.CharField(max_length=12, null=True)
    """Derived: how it left the curve (R10), empty where its ending is unknown or other."""
    in_curve = models.BooleanField(default=False)
    """Derived: it has a place in the curve by attempt (R10)."""
    attempts = models.PositiveSmallIntegerField(default=0)
    """Derived: the number of counted attempts."""

    class Meta:
        constraints = [
            *hard_limits("complication", limits_of(fields.COMPLICATION)),
            one_of("complication_cause", "cause", list(Cause), null=True),
        ]
        indexes = [
            models.Index(fields=["situation", "cause"], name="complication_by_situation"),
            # What the pages of techniques and of devices ask of somebody's sites, each answered from its index alone.
            models.Index(
                fields=["site", "situation", "case", "earliest", "latest", "acts_counted"],
                name="complication_acts_counted",
                condition=models.Q(acts_counted=True),
            ),
            models.Index(
                fields=["site"],
                name="complication_left_out",
                condition=models.Q(counted=True, acts_counted=False),
            ),
            models.Index(
                fields=[
                    "site",
                    "device_model",
                    "device_class",
                    "month",
                    "caused_by",
                    "case",
                    "earliest",
                    "latest",
                    "in_device_rate",
                ],
                name="complication_in_device_rate",
                condition=models.Q(in_device_rate=True),
            ),
            # First events by lot, of the registry as a whole.
            models.Index(
                fields=[
                    "device_model",
                    "device_lot",
                    "site",
                    "case",
                    "latest",
                    "caused_by",
                    "in_device_rate",
                ],
                name="complication_by_lot",
                condition=models.Q(in_device_rate=True, caused_by__isnull=True, device_lot__isnull=False),
            ),
        ]


class Action(CountedRow):
    """One thing tried, at its position in the order."""

    complication = models.ForeignKey(Complication, models.CASCADE, related_name="+")
    position = models.PositiveSmallIntegerField()
    technique = columns.code()
    aim = columns.code()
    adjuncts = columns.listing()
    result = models.TextField(null=True)
    situation_after = columns.code()
    at_minute = columns.number()
    minutes = columns.number()
    day = columns.whole()
    treats = columns.name(fields.REF)
    by = columns.staff()

    situation_faced = columns.code()
    """Derived: the situation faced (R1)."""
    considered_for = columns.code()
    """Derived: the situation faced, or the kind of the injury that it treats (R11)."""
    acts_counted = models.BooleanField(default=False)
    """Derived: as of its complication."""
    ends_attempt = models.BooleanField(default=False)
    """Derived: the last try of an attempt; the columns below then speak of the attempt."""
    attempt_result = columns.code()
    """Derived: the attempt's result, `unknown` where it is not recorded."""
    attempt_in_situation = columns.position()
    attempt_in_complication = columns.position()
    attempt_minutes = columns.number()
    with_injury = models.BooleanField(default=False)
    """Derived: one of the attempt's tries has an injury (R9)."""
    with_new_complication = models.BooleanField(default=False)
    """Derived: another complication of the case came of one of its tries (R9)."""

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["complication", "position"], name="action_position_once"),
            models.CheckConstraint(name="action_position_from_1", condition=models.Q(position__gte=1)),
            one_of("action_aim", "aim", [*Aim, OTHER, UNKNOWN], null=True),
            one_of("action_result", "result", list(Result), null=True),
            *hard_limits("action", limits_of(fields.ACTION)),
        ]
        indexes = [
            # All that a count of attempts reads, so that it is answered from the index alone; SQLite asks for the
            # two columns of the condition as well.
            models.Index(
                fields=[
                    "situation_faced",
                    "technique",
                    "aim",
                    "complication",
                    "case",
                    "attempt_result",
                    "with_injury",
                    "with_new_complication",
                    "attempt_in_situation",
                    "attempt_in_complication",
                    "attempt_minutes",
                    "site",
                    "earliest",
                    "latest",
                    "acts_counted",
                    "ends_attempt",
                ],
                name="action_attempts",
                condition=models.Q(ends_attempt=True, acts_counted=True),
            ),
            models.Index(fields=["site", "earliest"], name="action_by_site"),
            models.Index(
                fields=["site", "situation_faced", "complication", "earliest", "latest", "acts_counted"],
                name="action_by_situation",
                condition=models.Q(acts_counted=True),
            ),
            # The attempt that comes next, and the one that a try belongs to.
            models.Index(
                fields=[
                    "complication",
                    "position",
                    "situation_faced",
                    "attempt_in_situation",
                    "technique",
                    "attempt_result",
                    "ends_attempt",
                ],
                name="action_ends_attempt",
                condition=models.Q(ends_attempt=True),
            ),
            # What was considered: what was tried, and below what was declined.
            models.Index(
                fields=[
                    *("considered_for", "technique", "complication"),
                    *("site", "earliest", "latest", "acts_counted"),
                ],
                name="action_considered",
                condition=models.Q(acts_counted=True),
            ),
        ]


class DeclinedOption(CountedRow):
    """A technique considered and not tried, with the reason."""

    complication = models.ForeignKey(Complication, models.CASCADE, related_name="+")
    technique = columns.code()
    reason = columns.code()
    after_position = columns.position()
    treats = columns.name(fields.REF)

    considered_for = columns.code()
    """Derived: what was faced after its position, or the kind of the injury that it would have treated (R11)."""
    later_tried = models.BooleanField(null=True)
    """Derived: a later rung has the same technique; empty where its place is not known."""
    also_tried = models.BooleanField(default=False)
    """Derived: some rung of the complication tried it for the same, so that it is considered once."""
    acts_counted = models.BooleanField(default=False)
    """Derived: as of its complication."""

    class Meta:
        indexes = [
            models.Index(
                fields=[
                    *("considered_for", "technique", "reason", "complication", "also_tried", "later_tried"),
                    *("site", "earliest", "latest", "acts_counted"),
                ],
                name="declined_considered",
                condition=models.Q(acts_counted=True),
            )
        ]


class InvolvedDevice(WithDevice, CaseRow):
    """A device beside the failed one: used by an action, or otherwise there."""

    complication = models.ForeignKey(Complication, models.CASCADE, related_name="+")
    action = models.ForeignKey(Action, models.CASCADE, null=True, related_name="+")

    class Meta:
        constraints = hard_limits("involved", limits_of(fields.DEVICE, "device"))


class Fragment(Placed, CaseRow):
    """A piece of the device; retained where its state is other than out."""

    complication = models.ForeignKey(Complication, models.CASCADE, related_name="+")
    ref = columns.name(fields.REF)
    part = columns.code()
    material = columns.code()
    length_mm = columns.number()
    how_measured = columns.code()
    state = columns.code()
    reaches_aorta = columns.code()
    visible_on_fluoroscopy = columns.code()
    imaging = columns.listing()

    class Meta:
        constraints = hard_limits("fragment", limits_of(fields.FRAGMENT))


class Injury(Placed, CaseRow):
    """Harm to the vessel or the patient beside the situation."""

    ref = columns.name(fields.REF)
    kind = columns.code()
    scale = columns.code()
    grade = columns.code()
    caused_by = columns.name(fields.REF)
    after_position = columns.position()
    at_minute = columns.number()
    day = columns.whole()
    controlled = columns.code()
    treated_with = columns.listing()

    class Meta:
        constraints = hard_limits("injury", limits_of(fields.INJURY))
