#!/usr/bin/env python
"""Runs the registry's commands; holds no rule of its own."""

from __future__ import annotations

import os
import sys


def main() -> None:
    """Hand the command line to Django, with this repository's settings."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")
    try:
        from django.core.management import execute_from_command_line
    except ImportError:
        sys.exit(
            "Django is not installed for this Python. Run `make setup`, then `.venv/bin/python manage.py`."
        )
    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
