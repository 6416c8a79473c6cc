"""The invented demo: loaded once, then served on this machine alone."""

from __future__ import annotations

import os
import secrets
from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management import call_command

from deploy.commands import Refusal, RegistryCommand
from deploy.demo import begin_demo, finish_demo, load_cases, load_people, load_places
from deploy.demo_marks import demo_loaded
from deploy.environment import text
from deploy.local_settings import added, ensure_keys, migrate
from fixtures.scenario import scenario
from registry.cautions import caution

ADDRESS = "127.0.0.1"


class Command(RegistryCommand):
    """Load the demo where there is none, and serve it."""

    help = f"Loads the invented demo where none was loaded, then serves it on {ADDRESS}, port $PORT or 8000."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--no-serve", action="store_true", help="only load it")

    def run(self, *, no_serve: bool, **_: Any) -> None:
        """See the help."""
        port = _port()
        if settings.PRODUCTION:
            raise Refusal("This is a registry in production; the demo has no place in it.")
        migrate()
        ensure_keys()
        password = _password()
        invented = scenario()
        if not demo_loaded():
            begin_demo()
            self.remark("Loading the invented demo: a few seconds.")
            load_places(invented)
            list(load_people(invented, password))
            load_cases(invented.documents())
            finish_demo()
        self.say(caution("demo_invented"))
        for role, person in load_people(invented, password):
            self.say(f"{role.replace('_', ' ')}: {person.email}, password {password}")
        if no_serve:
            self.say("The demo is loaded.")
            return
        self.say(f"http://{ADDRESS}:{port}/")
        self.stdout.flush()
        call_command("runserver", f"{ADDRESS}:{port}", use_reloader=False, insecure_serving=True)


def _port() -> int:
    given = os.environ.get("PORT", "8000")
    if not given.isascii() or not given.isdigit() or not 1 <= int(given) <= 65535:
        raise Refusal(
            f"PORT is {given!r}; it can be a number from 1 to 65535. The demo listens on {ADDRESS} alone."
        )
    return int(given)


def _password() -> str:
    """The password of the demo's accounts, drawn once and kept with the registry's own settings."""
    password = text("DEMO_PASSWORD") or os.environ.get("DEMO_PASSWORD", "")
    if not password:
        password = secrets.token_urlsafe(12)
        added({"DEMO_PASSWORD": password})
    return password
