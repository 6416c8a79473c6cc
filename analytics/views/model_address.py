"""The code of a device model as one step of an address, whatever characters it holds."""

from __future__ import annotations

from urllib.parse import quote, unquote


class ModelCode:
    """Encoded once more than an address is, so that a slash in a code ends no step and "." is no way up."""

    regex = "[^/]+"

    def to_python(self, value: str) -> str:
        """
        >>> ModelCode().to_python("W%2F4 Plus")
        'W/4 Plus'
        """
        return unquote(value, errors="replace")

    def to_url(self, value: str) -> str:
        """
        >>> ModelCode().to_url("W/4 Plus"), ModelCode().to_url("..")
        ('W%2F4%20Plus', '%2E%2E')
        """
        return quote(value, safe="", errors="replace").replace(".", "%2E")
