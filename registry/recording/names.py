"""Staff codes and device models that documents name: made on first use, in sorted order, by the writers."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping

from registry.canonical import Json
from registry.case_fields import Model, Person
from registry.documents.rows import Names
from registry.documents.visiting import survey
from registry.models import DeviceModel, Staff
from registry.terms import UNKNOWN

_BATCH = 1000


def names_for(documents: Iterable[Mapping[str, Json]], sites: Mapping[str, int]) -> dict[int, Names]:
    """The staff codes and models that documents name, made where they are new; for use inside the transaction.

    New staff codes and queued models are made in sorted order, so that two imports do not wait for each other.
    """
    wanted = Wanted()
    for document in documents:
        wanted.add(document, sites[document["site"]])
    return wanted.made()


class Wanted:
    """Collects the staff codes and device models that documents name, to be made in one go."""

    def __init__(self) -> None:
        self.staff: dict[int, set[str]] = defaultdict(set)
        self.models: dict[str, str | None] = {}

    def add(self, document: Mapping[str, Json], site: int) -> None:
        """Note what one document names; a model's first known class is that of its queue entry."""
        self.staff[site].update(value for _, _, value in survey(document).values[Person] if value != UNKNOWN)
        for model, device_class in devices_of(document):
            if self.models.get(model) is None:
                self.models[model] = device_class

    def made(self) -> dict[int, Names]:
        """The keys of all of them by site."""
        device_models = self._made_models()
        return {
            site: Names(self._made_staff(site, codes), device_models)
            for site, codes in sorted(self.staff.items())
        }

    def _made_staff(self, site: int, codes: set[str]) -> dict[str, int]:
        there = Staff.objects.filter(site=site)
        missing = sorted(codes - set(there.values_list("code", flat=True)))
        Staff.objects.bulk_create(
            [Staff(site_id=site, code=code) for code in missing], ignore_conflicts=True, batch_size=_BATCH
        )
        return dict(there.values_list("code", "pk"))

    def _made_models(self) -> dict[str, int]:
        there = dict(DeviceModel.objects.values_list("code", "device_class"))
        missing = sorted(self.models.keys() - there.keys())
        DeviceModel.objects.bulk_create(
            [DeviceModel(code=code, device_class=self.models[code], queued=True) for code in missing],
            ignore_conflicts=True,
            batch_size=_BATCH,
        )
        for code in sorted(
            code for code, known in self.models.items() if known and there.get(code, known) is None
        ):
            DeviceModel.objects.filter(code=code, queued=True, device_class=None).update(
                device_class=self.models[code]
            )
        return dict(DeviceModel.objects.values_list("code", "pk"))


def devices_of(document: Mapping[str, Json]) -> Iterable[tuple[str, str | None]]:
    """Model and class of every device in a document that has a known model; an unknown class is None."""
    for _, kind, thing in survey(document).things:
        if "model" in kind.fields and isinstance(kind.fields["model"], Model):
            model, device_class = thing.get("model"), thing.get("class")
            if model is not None and model != UNKNOWN:
                yield model, None if device_class in (None, UNKNOWN) else device_class
