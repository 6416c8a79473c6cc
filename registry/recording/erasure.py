"""Erasing a patient: the data keys of every case and draft of one local reference at a site are deleted for good.

What stays is the clear part of the cases, which goes on being counted. Old versions stay verifiable, and unreadable.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from django.db.models import Q, QuerySet

from registry.access import NotFound, registry_id
from registry.journal import COMMAND_LINE
from registry.models import Case, DataKey, Draft, Patient, Site
from registry.recording.cases import erased_case
from registry.recording.change import Change, recorded
from registry.recording.erasure_list import list_erasure
from registry.recording.names import names_for
from registry.recording.overwriting import overwritten
from registry.recording.writing import written
from registry.sealing import current_chain_key


@dataclass(frozen=True, slots=True)
class Erasure:
    """What was erased: ids of cases, a number of drafts; and why their bytes are still on the disk, if they are."""

    cases: tuple[str, ...]
    drafts: int
    unfinished: str


def erase_patient(site_code: str, document_id: str) -> Erasure:
    """Erase a case and every case and draft of the site with the same local reference; NotFound where there is none.

    A case that is erased already leaves nothing to do but to overwrite what an earlier erasure could not.
    """
    case = _case(site_code, document_id)
    current_chain_key()  # without it nothing can be entered: better known before anything is listed as erased
    reference = Patient.objects.values_list("lookup", flat=True).get(case=case)
    erased: list[str] = []
    drafts = 0
    # Again, until nothing is left: a case may have been submitted while the others were being erased.
    while (cases := list(_cases_of(case, reference))) or _drafts_of(
        case, reference, erased_now=cases
    ).exists():
        drafts += _erased(case, reference, cases)
        erased += [one.document_id for one in cases]
    return Erasure(tuple(erased), drafts, overwritten())


def _case(site_code: str, document_id: str) -> Case:
    site = Site.objects.filter(code=site_code).first()
    if site is None:
        known = ", ".join(Site.objects.order_by("code").values_list("code", flat=True)) or "none yet"
        raise NotFound(f"there is no site {site_code!r} here; sites: {known}")
    case = Case.objects.select_related("site").filter(site=site, document_id=document_id).first()
    if case is None:
        raise NotFound(f"there is no case {document_id!r} at {site_code}")
    return case


def _cases_of(case: Case, reference: str | None) -> QuerySet[Case]:
    """The cases still to be erased with this one: those with the same keyed hash at its site."""
    same = Q(pk=case.pk)
    if reference is not None:
        same |= Q(site=case.site, pk__in=Patient.objects.filter(lookup=reference).values("case"))
    return Case.objects.filter(same, erased=False).select_related("site").order_by("pk")


def _drafts_of(case: Case, reference: str | None, *, erased_now: Sequence[Case]) -> QuerySet[Draft]:
    same = Q(case__in=[case, *erased_now])
    if reference is not None:
        same |= Q(site=case.site, lookup=reference)
    return Draft.objects.filter(same)


def _erased(case: Case, reference: str | None, cases: list[Case]) -> int:
    """Erase cases and the drafts that belong to them; returns the number of drafts."""
    drafts = _drafts_of(case, reference, erased_now=cases)
    list_erasure(
        registry=registry_id(),
        site=case.site.code,
        cases=[one.code for one in cases],
        drafts=drafts.values_list("code", flat=True),
    )
    prepared = [erased_case(one) for one in cases]

    def work(change: Change) -> int:
        sites = {case.site.code: case.site_id}
        waiting = list(drafts)
        if prepared:
            first = replace(
                prepared[0], particulars={**(prepared[0].particulars or {}), "drafts": len(waiting)}
            )
            all_of_them = [first, *prepared[1:]]
            written(change, all_of_them, names_for([one.text.clear for one in prepared], sites))
        forget_keys(cases, waiting)
        Draft.objects.filter(pk__in=[draft.pk for draft in waiting]).delete()
        return len(waiting)

    return recorded(work, who=COMMAND_LINE)


def forget_keys(cases: Sequence[Case], drafts: Sequence[Draft]) -> None:
    """Delete the data keys of cases and drafts, but never one by which another case is read."""
    owners = [case.code for case in cases] + [draft.code for draft in drafts]
    of_others = Patient.objects.filter(key__isnull=False).exclude(case__in=cases).values("key")
    own = Q(owner__in=owners) | Q(pk__in=[draft.key for draft in drafts if draft.key is not None])
    DataKey.objects.filter(own).exclude(pk__in=of_others).delete()
