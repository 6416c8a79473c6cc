"""What holds for every answer: pages are never stored, and a refusal becomes a page once, not in each view."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.cache import patch_vary_headers

from registry.access import NotAllowed, NotFound

GetResponse = Callable[[HttpRequest], HttpResponse]


def never_stored(get_response: GetResponse) -> GetResponse:
    """Pages hold patients' cases: no cache keeps them, and a part for htmx is never taken for a page."""

    def middleware(request: HttpRequest) -> HttpResponse:
        response = get_response(request)
        response.setdefault("Cache-Control", "no-store")
        patch_vary_headers(response, ["HX-Request"])
        return response

    return middleware


class refusals_in_words:
    """NotFound answers 404 and NotAllowed 403, each with a page that says so."""

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        """See the class."""
        if isinstance(exception, NotFound):
            return render(request, "404.html", status=404)
        if isinstance(exception, NotAllowed):
            return render(request, "403.html", {"sentence": str(exception)}, status=403)
        return None
