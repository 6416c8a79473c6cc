"""The routes of the whole and one more: a page that does nothing, to measure the others against."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.urls import path

from deploy.urls import urlpatterns as all_others
from registry.doors import page


@page("home")
def empty(request: HttpRequest) -> HttpResponse:
    """Nothing, behind the same door."""
    return HttpResponse("")


urlpatterns = [path("empty/", empty), *all_others]
