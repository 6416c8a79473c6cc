"""Pseudonyms from a random key of one release alone: nobody can make them from what a case holds. No Django."""

from __future__ import annotations

import hmac
import secrets
from dataclasses import dataclass, field

from registry.canonical import write
from registry.public_codes import ALPHABET

LETTERS = 12
"""Sixty bits: in 100,000 cases two meet by chance once in 200 million releases."""
_SHIFTS = tuple(5 * place for place in range(LETTERS))


@dataclass(frozen=True, slots=True)
class Pseudonyms:
    """The pseudonyms of one release: HMAC-SHA-256 (FIPS 198-1) of an inside code under the release's own key.

    They begin with a letter, so that no spreadsheet reads one as a number.
    """

    key: bytes = field(repr=False)
    _sites: dict[str, str] = field(default_factory=dict, repr=False, compare=False)
    """Those of the sites, each made once."""

    @classmethod
    def drawn(cls) -> Pseudonyms:
        """Under a new key."""
        return cls(secrets.token_bytes(32))

    def of_case(self, code: str) -> str:
        """The pseudonym of a case by its public code."""
        return f"P{self._of('case', code)}"

    def of_site(self, code: str) -> str:
        """The pseudonym of a site by its code."""
        if code not in self._sites:
            self._sites[code] = f"S{self._of('site', code)}"
        return self._sites[code]

    def _of(self, kind: str, code: str) -> str:
        digest = hmac.digest(self.key, write([kind, code]).encode(), "sha256")
        number = int.from_bytes(digest[:8], "big")
        return "".join([ALPHABET[(number >> shift) & 31] for shift in _SHIFTS])
