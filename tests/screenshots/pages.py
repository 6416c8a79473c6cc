"""The pages that are pictured, who looks at them, and whether they must carry a caution."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from registry.models import Person

NOBODY = ""
"""The role of somebody who has not signed in."""


@dataclass(frozen=True)
class Pictured:
    """One page: its name, its address in the demo, the role of who looks, and whether it shows a caution.

    `typed` is filled in by the names of fields and the button with the words `pressed` is pressed before the picture;
    `status` is that of the page then looked at.
    """

    name: str
    address: Callable[[], str]
    role: str = "operator"
    caution: bool = True
    status: int = 200
    typed: Mapping[str, str] = field(default_factory=dict)
    pressed: str = ""


def _case(route: str, document_id: str) -> Callable[[], str]:
    def address() -> str:
        from django.urls import reverse

        from registry.models import Case

        return reverse(route, args=[Case.objects.get(document_id=document_id).code])

    return address


def _draft() -> str:
    from django.urls import reverse

    from registry.models import Case
    from registry.recording.drafts import begin_amendment

    case = Case.objects.get(document_id="S3")
    return reverse("draft", args=[begin_amendment(case, by=_somebody("administrator"))])


def _somebody(role: str) -> Person:
    from registry.models import Membership

    return Membership.objects.filter(role=role, site__code="north").select_related("person")[0].person


def _two_versions() -> str:
    """A case with a second version, and the comparison of the two."""
    from django.urls import reverse

    from registry.access import opened_document
    from registry.models import Case
    from registry.recording.cases import amend_case

    case = Case.objects.get(document_id="S1")
    document: dict[str, Any] = opened_document(case)
    document["note"] = "Read again at the conference."
    document["duties"] = [*(document.get("duties") or []), {"kind": "local_report", "decided": "undecided"}]
    amend_case(case, document, version=case.version, reason="read again", by=None)
    return reverse("case_versions", args=[case.code])


def _invitation() -> str:
    from django.urls import reverse

    from registry.models import Site
    from registry.recording.sites import give_role, invite
    from registry.terms import Role

    newcomer = give_role("newcomer@north.example", Site.objects.get(code="north"), Role.OPERATOR, by=None)
    return reverse("invitation", args=[invite(newcomer, by=None)])


def _person() -> str:
    from django.urls import reverse

    return reverse("person", args=[_somebody("operator").code])


def _at(address: str) -> Callable[[], str]:
    return lambda: address


def _administered(name: str, address: str | Callable[[], str], **more: Any) -> Pictured:
    """A page of administration; it shows no technique, plan or duty."""
    where = _at(f"/administration/{address}") if isinstance(address, str) else address
    return Pictured(name, where, role="administrator", caution=False, **more)


PAGES = (
    Pictured("home", _at("/")),
    Pictured("due", _at("/today/late/")),
    Pictured("cases", _at("/cases/"), caution=False),
    Pictured("case", _case("case", "S3")),
    Pictured("versions", _two_versions, role="lab_director"),
    Pictured("names", _case("case_whole", "S3"), role="lab_director", pressed="Show names and notes"),
    Pictured("techniques", _at("/techniques/?situation=wire_stuck"), role="lab_director"),
    Pictured("situations", _at("/techniques/"), role="lab_director"),
    Pictured("filters", _at("/techniques/?situation=wire_stuk&since=2026-13"), role="lab_director"),
    Pictured("devices", _at("/devices/"), role="lab_director"),
    Pictured("classes", _at("/devices/?by=class"), role="lab_director"),
    Pictured("rescue-tools", _at("/devices/rescue/"), role="lab_director"),
    Pictured("lots", _at("/devices/lots/"), role="lab_director", caution=False),
    Pictured(
        "lots-wrong",
        _at("/devices/lots/"),
        role="lab_director",
        caution=False,
        typed={"model": "no such model", "lot": "25J1107", "reason": "Two of it.", "shelves": "Room 1."},
        pressed="Set the lot aside",
        status=422,
    ),
    Pictured("denominators", _at("/devices/denominators/"), role="lab_director"),
    Pictured("device", _at("/devices/model/TAR-W1/"), role="lab_director"),
    Pictured("over-time", _at("/devices/over-time/"), role="lab_director"),
    Pictured("sites", _at("/sites/"), role="lab_director"),
    Pictured("oneself", _at("/sites/")),
    Pictured("places", _at("/places/"), role="lab_director"),
    Pictured("tools-wanted", _at("/tools-wanted/"), role="lab_director"),
    Pictured("signals", _at("/signals/"), role="quality_officer"),
    Pictured("signal", _at("/signals/last_months/MAR-N2/"), role="lab_director"),
    Pictured(
        "signal-refused",
        _at("/signals/last_months/MAR-N2/"),
        role="lab_director",
        typed={"words": "Read both records."},
        pressed="Add to the history",
        status=422,
    ),
    Pictured("numbers", _at("/numbers/")),
    Pictured("logging", _draft, role="administrator"),
    Pictured("begin", _at("/log/")),
    Pictured("rights", _at("/rights/"), caution=False),
    Pictured("password", _at("/account/password/"), caution=False),
    Pictured("refused", _at("/administration/"), caution=False, status=403),
    Pictured("nothing", _at("/nothing/"), caution=False, status=404),
    Pictured("sign-in", _at("/account/sign-in/"), role=NOBODY),
    Pictured("invitation", _invitation, role=NOBODY, caution=False),
    _administered("administration", ""),
    _administered("people", "people/"),
    _administered("person", _person),
    _administered("handed-over", _person, pressed="Make a new invitation"),
    _administered("catalogue", "catalogue/"),
    _administered("model", "catalogue/model/"),
    _administered("catalogue-file", "catalogue/file/"),
    _administered("device-use", "device-use/"),
    _administered("returns", "returns/"),
    _administered("return", "returns/north/2026-03/"),
    _administered(
        "return-wrong",
        "returns/north/2026-03/",
        typed={"procedures": "about 200"},
        pressed="Record the return",
        status=422,
    ),
)
