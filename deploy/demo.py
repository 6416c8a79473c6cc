"""Loading the invented scenario: sites, people, catalogue, monthly use and returns, and cases by import."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping

from deploy.demo_marks import BEGUN, LOADED, ask_again
from fixtures.scenario import Scenario
from registry.canonical import Json
from registry.journal import Event
from registry.models import JournalEntry, Person, Site
from registry.recording.change import NotSaved, recorded
from registry.recording.devices import import_catalogue, import_device_use, import_procedures
from registry.recording.imports import Manner, Source, Tally, import_documents
from registry.recording.sites import add_site, give_role
from registry.recording.staff_codes import link_staff_code
from registry.terms import Role


def begin_demo() -> None:
    """Note that the demo is being loaded; NotSaved in a registry that holds sites of its own."""
    if JournalEntry.objects.filter(what=BEGUN).exists():
        return
    if Site.objects.exists():
        raise NotSaved("this registry holds sites of its own; the demo is loaded only into an empty one")
    recorded(lambda change: change.enter(Event(BEGUN)), who="command line")


def finish_demo() -> None:
    """Note that all of the demo is there."""
    recorded(lambda change: change.enter(Event(LOADED)), who="command line")
    ask_again()


def load_places(scenario: Scenario, cases: int | None = None, seed: int | None = None) -> None:
    """The scenario's sites, catalogue, monthly use and returns, to go with so many cases of a seed; repeatable."""
    for site in scenario.sites:
        add_site(site.code, site.name, time_zone=site.time_zone, by=None)
    import_catalogue(_numbered(scenario.catalogue_rows()), check_only=False, by=None)
    import_device_use(_numbered(scenario.device_use_rows(cases, seed)), check_only=False, by=None)
    import_procedures(_numbered(scenario.procedure_rows(cases, seed)), check_only=False, by=None)


def _numbered(rows: Iterable[Mapping[str, object]]) -> list[tuple[int, dict[str, str]]]:
    """Rows as a file would hold them, all text, with the line on which each would stand."""
    return [
        (line, {name: str(value) for name, value in row.items()}) for line, row in enumerate(rows, start=2)
    ]


def load_people(scenario: Scenario, password: str) -> Iterator[tuple[Role, Person]]:
    """One account for each role, with the demo's password."""
    for someone in scenario.people:
        site = Site.objects.get(code=someone.site)
        person = give_role(someone.email, site, Role(someone.role), name=someone.name, by=None)
        if not person.has_usable_password():
            person.set_password(password)
            person.save(update_fields=["password"])
        if someone.staff:
            link_staff_code(person, site, someone.staff, by=None)
        yield Role(someone.role), person


def load_cases(documents: Iterable[Json], progress: Callable[[int], None] = lambda done: None) -> Tally:
    """Import documents through the import's own code; what a form would ask about is not told of invented cases."""
    sources = (Source(f"case {number}", document) for number, document in enumerate(documents, start=1))
    return import_documents(sources, manner=Manner(), by=None, warn=lambda line: None, progress=progress)
