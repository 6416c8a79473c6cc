"""What a document must pass before it is written: its own checks, then the site and the catalogue of this registry."""

from __future__ import annotations

import datetime
import zoneinfo
from collections.abc import Iterator, Mapping
from typing import Any

from django.utils import timezone

from registry.canonical import Json
from registry.documents import completed, findings
from registry.documents.visiting import survey
from registry.findings import Finding, questions, refusals
from registry.models import DeviceModel, Site
from registry.recording.change import NotSaved
from registry.terms import OTHER, UNKNOWN
from registry.vocabulary import word_list


class Refused(NotSaved):
    """A document was refused; `findings` says where and why."""

    def __init__(self, found: list[Finding]) -> None:
        self.findings = found
        super().__init__("; ".join(str(finding) for finding in found))


class Checker:
    """Checks documents against the sites and the catalogue as they stand when it is made.

    The class of a model that the catalogue lacks is that of the first document that names it.
    """

    def __init__(self) -> None:
        self.sites = {site.code: site for site in Site.objects.all()}
        self._classes = dict(DeviceModel.objects.values_list("code", "device_class"))

    def checked(self, document: Json) -> tuple[dict[str, Json], list[Finding]]:
        """The document in canonical form and what is to be asked about; raises Refused."""
        site = self._site(document)
        found = findings(document, today_at(site))
        if not refusals(found) and site is None:
            known = ", ".join(sorted(self.sites)) or "none yet: `set_up` makes one"
            found = [Finding("site", document["site"], "there is no such site here", known)]
        if not refusals(found):
            found = [*found, *self._contradicted(document)]
        if wrong := refusals(found):
            raise Refused(wrong)
        return completed(document), questions(found)

    def _site(self, document: Json) -> Site | None:
        code = document.get("site") if isinstance(document, dict) else None
        return self.sites.get(code) if isinstance(code, str) else None

    def _contradicted(self, document: Mapping[str, Json]) -> Iterator[Finding]:
        named: dict[str, str | None] = {}
        for path, kind, thing in survey(document).things:
            model = thing.get("model")
            if "model" not in kind.fields or model in (None, UNKNOWN):
                continue
            found = thing.get("class")
            known = self._classes.get(model) or named.get(model)
            if known and not agree(found, known):
                yield Finding(
                    f"{path}.class",
                    found,
                    f"the model {model} is of another class in the catalogue",
                    f"{known}",
                )
            elif found not in (None, UNKNOWN):
                named.setdefault(model, known or found)
        # A refused document must not teach the catalogue, so what it names counts only once it is through.
        self._classes |= {model: found for model, found in named.items() if not self._classes.get(model)}


def agree(found: Any, known: str) -> bool:
    """Whether a class given in a case may stand beside the catalogue's: equal, unknown, or its kind not recorded."""
    if found in (None, UNKNOWN, known):
        return True
    classes = word_list("device_class")
    if OTHER in (found, known) or known == UNKNOWN:
        return known == UNKNOWN
    first, second = classes[found].properties, classes[known].properties
    loose = first.get("unspecified") or second.get("unspecified")
    return bool(loose) and first.get("family") == second.get("family")


def today_at(site: Site | None) -> datetime.date:
    """The present day by the site's own clock; by the registry's where there is no site."""
    return timezone.localdate(timezone=zoneinfo.ZoneInfo(site.time_zone) if site else None)
