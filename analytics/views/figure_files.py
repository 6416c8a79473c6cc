"""Every figure as a file: its table as CSV, its picture as SVG, for the filters of its page."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from django.http import HttpResponse
from django.views.decorators.http import require_GET

from analytics import asking, cohorts, figures, snapshots
from analytics.asking import Asked
from analytics.charts.figure import Figure
from analytics.figures import (
    ATTEMPTS_BY_TECHNIQUE,
    ENDINGS_BY_ATTEMPT,
    OPERATOR_FUNNEL,
    ORDER_OF_ATTEMPTS,
    PLACES,
    SITE_FUNNEL,
)
from analytics.views import device as device_page
from analytics.views import devices, places, techniques
from analytics.views import signals as signals_page
from analytics.views import sites as sites_page
from analytics.views.asked import Sites, csv_of, file_of, refused, what_is_asked
from registry.access import NotAllowed, NotFound, Scope, may_enter
from registry.doors import MemberRequest, page

Make = Callable[[Scope, Asked, Sites], Figure | None]


@dataclass(frozen=True, slots=True)
class Source:
    """Where a figure comes from: the route whose rights hold, the filters of its page, and its maker.

    The maker answers None where the filters leave nothing to draw. `kept` says that all it asks, but of a single model,
    is in a snapshot.
    """

    route: str
    allowed: Sequence[str]
    make: Make
    kept: bool = False


@dataclass(frozen=True, slots=True)
class PersonalSource:
    """The same of a figure that is another one for each who looks."""

    route: str
    allowed: Sequence[str]
    make: Callable[[MemberRequest, Asked], Figure | None]
    kept: bool = False


FIGURES: Mapping[str, Source | PersonalSource] = {
    figures.DEVICE_RATES: Source("devices", asking.OF_DEVICE_RATES, devices.device_rates, kept=True),
    figures.EVENTS_BY_MONTH: Source("device", asking.OF_MONTHS, device_page.events_by_month, kept=True),
    figures.USES_BETWEEN_EVENTS: Source(
        "device", asking.OF_MONTHS, device_page.uses_between_events, kept=True
    ),
    figures.RUNNING_SUM: Source("device", asking.OF_MONTHS, device_page.running_sum, kept=True),
    figures.CASES_BY_MONTH: Source("over_time", asking.OF_DEVICES, device_page.cases_by_month, kept=True),
    figures.SIGNAL_CHART: PersonalSource("signal", asking.OF_SIGNAL, signals_page.signal_chart),
    figures.CHARTS_WATCHED: Source("signals", asking.OF_SIGNALS, signals_page.charts_watched, kept=True),
    PLACES: Source("places", asking.OF_TECHNIQUES, places.map_of_places, kept=True),
    SITE_FUNNEL: PersonalSource("sites", asking.OF_SITES, sites_page.site_funnel, kept=True),
    OPERATOR_FUNNEL: PersonalSource("sites", asking.OF_SITES, sites_page.operator_funnel, kept=True),
    ENDINGS_BY_ATTEMPT: Source("techniques", asking.OF_TECHNIQUES, techniques.endings_by_attempt),
    ORDER_OF_ATTEMPTS: Source("techniques", asking.OF_TECHNIQUES, techniques.order_of_attempts),
    ATTEMPTS_BY_TECHNIQUE: Source("techniques", asking.OF_TECHNIQUES, techniques.attempts_by_technique),
}
"""Every figure of a page by its name, which is also its place in the page."""


@require_GET
@page("figure_file")
def figure_file(request: MemberRequest, name: str, kind: str) -> HttpResponse:
    """One figure as `csv` or `svg`."""
    source = FIGURES.get(name)
    if source is None or kind not in ("csv", "svg"):
        raise NotFound("there is no such figure")
    if not may_enter(request.user, source.route):
        raise NotAllowed("this needs another role")
    asked, scope, sites = what_is_asked(request, source.route, source.allowed)
    if asked.problems:
        return refused(asked)
    kept = source.kept and "model" not in asked.typed
    with snapshots.answering(asked.filters) if kept else cohorts.at_one_moment() as as_of:
        if isinstance(source, PersonalSource):
            figure = source.make(request, asked)
        else:
            figure = source.make(scope, asked, sites)
    if figure is None:
        raise NotFound("with these filters there is nothing to draw")
    name += snapshots.in_file_name(as_of)
    if kind == "csv":
        return csv_of(f"{name}.csv", figure.columns, figure.rows)
    response = file_of(f"{name}.svg", "image/svg+xml")
    response.write(figure.file)
    return response
