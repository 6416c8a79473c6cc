"""The pages that are pictured, who looks at them, and whether they must carry a caution."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True)
class Pictured:
    """One page: its name, its address in the demo, the role of who looks, and whether it shows a caution."""

    name: str
    address: Callable[[], str]
    role: str = "operator"
    caution: bool = True


def _case(document_id: str) -> str:
    from django.urls import reverse

    from registry.models import Case

    return reverse("case", args=[Case.objects.get(document_id=document_id).code])


def _draft() -> str:
    from django.urls import reverse

    from registry.models import Case, Membership
    from registry.recording.drafts import begin_amendment

    case = Case.objects.get(document_id="S3")
    administrator = Membership.objects.filter(site=case.site, role="administrator")[0].person
    return reverse("draft", args=[begin_amendment(case, by=administrator)])


def _at(address: str) -> Callable[[], str]:
    return lambda: address


PAGES = (
    Pictured("home", _at("/")),
    Pictured("cases", _at("/cases/"), caution=False),
    Pictured("case", lambda: _case("S3")),
    Pictured("techniques", _at("/techniques/?situation=wire_stuck"), role="lab_director"),
    Pictured("devices", _at("/devices/"), role="lab_director"),
    Pictured("logging", _draft, role="administrator"),
    Pictured("begin", _at("/log/")),
    Pictured("rights", _at("/rights/"), caution=False),
    Pictured("administration", _at("/administration/"), role="administrator", caution=False),
)
