"""The WSGI application."""

from __future__ import annotations

import gc
import os
from importlib import import_module

from django.conf import settings
from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")
application = get_wsgi_application()

# Every view and all that it needs is read now, and not when somebody first asks for it. It stays for good, so no search
# for garbage need look through it again: pages of figures make many short-lived objects, and took a third longer.
import_module(settings.ROOT_URLCONF)
gc.collect()
gc.freeze()
