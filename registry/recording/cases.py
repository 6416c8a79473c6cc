"""Changes of one case: submitting, amending, withdrawing, bringing back, locking.

`by` is who does it; None stands for the command line, which has the whole registry.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from registry.access import MAY_WRITE, data_key, opened_document, registry_id, require
from registry.canonical import Json
from registry.documents import content
from registry.journal import COMMAND_LINE
from registry.models import Case, Person
from registry.public_codes import new_code
from registry.recording.change import Change, NotSaved, recorded
from registry.recording.checking import Checker
from registry.recording.names import names_for
from registry.recording.writing import Prepared, lookup_of, new_case, sealed_text, written
from registry.terms import CaseState
from registry.versions import VersionText, last_version, version_text

ON_A_PAGE = "page"
BY_COMMAND = "command"
BY_IMPORT = "import"

OPEN_UNDER_LOCK = ("duties", "follow_up", "antiplatelet_plan")
"""What a lock leaves open, besides a death in the outcome and the fate of what was transferred open."""


def actor(by: Person | None) -> str:
    """How the journal names somebody."""
    return COMMAND_LINE if by is None else by.code


Also = Callable[[Change], None]
"""What is done in the same transaction, once the case is written; where it refuses, nothing is."""


def submit_case(
    document: Json, *, by: Person | None, source: str = ON_A_PAGE, code: str = "", also: Also | None = None
) -> Case:
    """Record a new case; Refused where the document is wrong, NotSaved where its id is taken.

    `code` is the public code that its draft drew; without one it draws its own.
    """
    checker = Checker()
    complete, _ = checker.checked(document)
    site = checker.sites[complete["site"]]
    if by is not None:
        require(by, MAY_WRITE, [site])
    if Case.objects.filter(site=site, document_id=complete["id"]).exists():
        raise NotSaved(
            f"there is a case {complete['id']} at {site.code} already; a case has an id of its own"
        )
    one = new_case(
        complete,
        site=site.pk,
        code=code or unused_codes(1)[0],
        registry=registry_id(),
        particulars={"source": source},
    )
    return _saved([one], by, also=also)


def amend_case(
    case: Case,
    document: Json,
    *,
    version: int,
    reason: str,
    by: Person | None,
    source: str = ON_A_PAGE,
    also: Also | None = None,
) -> Case:
    """Replace a case's document, made from its version `version`; unchanged content leaves no trace."""
    complete, _ = Checker().checked(document)
    _same_case(case, complete)
    stand(case, version)
    may_be_amended(case)
    before = opened_document(case)
    if content(before) == content(complete):
        if also is not None:
            recorded(also, who=actor(by))
        return case
    if case.state == CaseState.LOCKED:
        _only_what_a_lock_leaves_open(before, complete)
    one = changed_case(case, complete, what="case_amended", state=case.state, reason=reason, source=source)
    return _saved([one], by, case, also)


def may_be_amended(case: Case) -> None:
    """NotSaved says why not: it is erased, or withdrawn."""
    if case.erased:
        raise NotSaved(
            f"the identifying part of the case {case.document_id} is erased, and it cannot be amended"
        )
    if case.state == CaseState.WITHDRAWN:
        raise NotSaved(f"the case {case.document_id} is withdrawn; bring it back before amending it")


def set_state(
    case: Case, state: CaseState, *, version: int, reason: str, by: Person | None, source: str
) -> Case:
    """Withdraw, bring back, lock or unlock a case: a new version of the same document."""
    stand(case, version)
    if case.state == state:
        return case
    events = {
        (CaseState.SUBMITTED, CaseState.WITHDRAWN): "case_withdrawn",
        (CaseState.WITHDRAWN, CaseState.SUBMITTED): "case_brought_back",
        (CaseState.SUBMITTED, CaseState.LOCKED): "case_locked",
        (CaseState.LOCKED, CaseState.SUBMITTED): "case_unlocked",
    }
    what = events.get((CaseState(case.state), state))
    if what is None:
        raise NotSaved(f"a case that is {case.state} cannot become {state}; unlock it or bring it back first")
    return _saved([changed_case(case, None, what=what, state=state, reason=reason, source=source)], by, case)


def stand(case: Case, version: int) -> None:
    """NotSaved where the case has moved on from the version that somebody started from."""
    now = Case.objects.values_list("version", flat=True).get(pk=case.pk)
    if now != version:
        raise NotSaved(
            f"the case {case.document_id} was changed by somebody else meanwhile: you started from version {version}, "
            f"it is now at version {now}; nothing was changed"
        )


def changed_case(
    case: Case,
    document: Mapping[str, Json] | None,
    *,
    what: str,
    state: str,
    source: str,
    reason: str = "",
    batch: int | None = None,
) -> Prepared:
    """A change of a case that is there: another document, or None for another state of the same.

    An erased case needs no key: its text is the clear document alone.
    """
    last = version_text(last_version(case.pk).text)
    registry, version = registry_id(), case.version + 1
    if case.erased:
        text = VersionText(last.clear, None, None)
        found = None
    else:
        whole = document if document is not None else opened_document(case)
        text = sealed_text(
            whole,
            key=data_key(last.key),
            key_id=last.key,
            registry=registry,
            code=case.code,
            version=version,
            reason=reason,
        )
        found = lookup_of(whole, case.site.code)
    return Prepared(
        what=what,
        site=case.site_id,
        site_code=case.site.code,
        document_id=case.document_id,
        code=case.code,
        case=case.pk,
        version=case.version,
        state=state,
        text=text,
        lookup=found,
        erased=case.erased,
        batch=batch,
        particulars={"source": source},
    )


def _saved(
    prepared: list[Prepared], by: Person | None, case: Case | None = None, also: Also | None = None
) -> Case:
    if by is not None and case is not None:
        require(by, MAY_WRITE, [case.site])

    def work(change: Change) -> None:
        sites = {one.site_code: one.site for one in prepared}
        written(change, prepared, names_for([one.text.clear for one in prepared], sites))
        if also is not None:
            also(change)

    recorded(work, who=actor(by))
    return Case.objects.select_related("site").get(code=prepared[0].code)


def _same_case(case: Case, document: Mapping[str, Json]) -> None:
    if (document["site"], document["id"]) != (case.site.code, case.document_id):
        raise NotSaved(f"a case keeps its site and id: {case.site.code} {case.document_id}")


def _only_what_a_lock_leaves_open(before: Mapping[str, Json], after: Mapping[str, Json]) -> None:
    if content(_closed_part(before)) != content(_closed_part(after)):
        raise NotSaved(
            "the case is locked: only duties, follow-up, the antiplatelet plan, a death, and the fate of what was "
            "transferred open can be changed"
        )


def _closed_part(document: Mapping[str, Json]) -> dict[str, Json]:
    kept = {key: value for key, value in document.items() if key not in OPEN_UNDER_LOCK}
    if outcome := {key: value for key, value in kept.pop("outcome", {}).items() if key != "death"}:
        kept["outcome"] = outcome
    kept["complications"] = [_closed_complication(one) for one in kept["complications"]]
    return kept


def _closed_complication(complication: Mapping[str, Json]) -> dict[str, Json]:
    """A complication without its fate where that is open or was found elsewhere, so that the two compare equal."""
    where = (complication.get("ended") or {}).get("where")
    if complication["ending"] != "transferred_open" and where in (None, "here"):
        return dict(complication)
    return {key: value for key, value in complication.items() if key not in ("ending", "ended")}


def unused_codes(number: int) -> list[str]:
    """Public codes that no case has: of 200 registries with 100,000 cases, one would draw a code twice."""
    codes: set[str] = set()
    while len(codes) < number:
        drawn = {new_code() for _ in range(number - len(codes))}
        codes |= drawn - set(Case.objects.filter(code__in=drawn).values_list("code", flat=True))
    return list(codes)


def erased_case(case: Case) -> Prepared:
    """A version of the same document without its sealed part; needs no key."""
    case.erased = True
    return changed_case(case, None, what="case_erased", state=case.state, source=BY_COMMAND)
