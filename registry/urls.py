"""Routes of the record."""

from __future__ import annotations

from django.urls import URLPattern, path

from registry.views import administration, cases, logging, months, people

urlpatterns: list[URLPattern] = [
    path("log/", logging.log_case, name="log_case"),
    path("log/<str:code>/", logging.draft, name="draft"),
    path("log/<str:code>/discard/", logging.discard, name="discard_draft"),
    path("case/<str:code>/change/", logging.amend, name="amend_case"),
    path("cases/", cases.cases, name="cases"),
    path("case/<slug:code>/", cases.case, name="case"),
    path("case/<slug:code>/whole/", cases.case_whole, name="case_whole"),
    path("case/<slug:code>/versions/", cases.case_versions, name="case_versions"),
    path("administration/", administration.administration, name="administration"),
    path("administration/people/", people.people, name="people"),
    path("administration/people/<str:code>/", people.person, name="person"),
    path("administration/catalogue/", administration.catalogue, name="catalogue"),
    path("administration/catalogue/model/", administration.catalogue_model, name="catalogue_model"),
    path("administration/catalogue/file/", administration.catalogue_file, name="catalogue_file"),
    path("administration/device-use/", months.device_use, name="device_use"),
    path("administration/device-use/file/", administration.device_use_file, name="device_use_file"),
    path("administration/returns/", months.returns, name="returns"),
    path("administration/returns/file/", administration.returns_file, name="returns_file"),
    path("administration/returns/<str:site>/<str:month>/", months.returns_month, name="returns_month"),
]
