"""The few closed lists that code reasons about, as enumerations. No Django.

Words that clinicians choose and code never branches on stand in `vocabulary/*.toml` alone; a test holds the
codes here equal to theirs.
"""

from __future__ import annotations

from enum import StrEnum

UNKNOWN = "unknown"
OTHER = "other"
CLOSED = "closed"


class Aim(StrEnum):
    """What an action is for (counting rule R2)."""

    LOOK = "look"
    PREPARE = "prepare"
    FREE = "free"
    RETRIEVE = "retrieve"
    SECURE = "secure"
    TREAT_INJURY = "treat_injury"
    SUPPORT = "support"
    LEAVE = "leave"
    HAND_OVER = "hand_over"


class Result(StrEnum):
    """What came of an action (counting rule R3)."""

    RESOLVED = "resolved"
    DONE = "done"
    PARTLY = "partly"
    UNCHANGED = "unchanged"
    WORSE = "worse"
    NOT_DELIVERED = "not_delivered"
    STOPPED_FOR_SAFETY = "stopped_for_safety"
    UNKNOWN = "unknown"


class Cause(StrEnum):
    """How a complication left the curve by attempt (counting rule R10)."""

    OUT = "out"
    SECURED = "secured"
    LEFT = "left"
    SURGERY = "surgery"
    DIED = "died"
    CENSORED = "censored"


class CaseState(StrEnum):
    """Where a case stands in its life; drafts are kept elsewhere."""

    SUBMITTED = "submitted"
    LOCKED = "locked"
    WITHDRAWN = "withdrawn"


COUNTED_STATES = (CaseState.SUBMITTED, CaseState.LOCKED)
"""The states in which a case counts and is exported."""


class Role(StrEnum):
    """What an account may be at a site."""

    OPERATOR = "operator"
    NURSE_OR_FELLOW = "nurse_or_fellow"
    PRESENTER = "presenter"
    LAB_DIRECTOR = "lab_director"
    QUALITY_OFFICER = "quality_officer"
    ADMINISTRATOR = "administrator"


class Reporting(StrEnum):
    """A site's word for one month."""

    ALL_REPORTED = "all_reported"
    NONE_HAPPENED = "none_happened"
    OPEN = "open"


class SignalState(StrEnum):
    """Where the review of a signal stands."""

    NEW = "new"
    BEING_REVIEWED = "being_reviewed"
    EXPLAINED = "explained"
    ACTED_ON = "acted_on"
