"""Keys, envelope encryption and the keyed hashes: the only file that touches a key.

Data are sealed with AES-256-GCM (NIST SP 800-38D, through `cryptography`) under a data key of the case; data keys are
wrapped by the registry's wrapping key; the chain of the journal and the look-up of a reference are HMAC-SHA-256
(FIPS 198-1). What is sealed is bound to its registry, case and version, what is wrapped to its owner and wrapping key.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import os
import secrets
import unicodedata
import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from django.conf import settings

from registry.canonical import read, write

NONCE = 12
KEY = 32
DRAFT = "draft"
"""What a draft's blob is bound to in place of a version."""


class KeysMissing(Exception):
    """A key that the registry needs is not among its settings; the message names its id."""


class NotOpened(Exception):
    """What was sealed or wrapped cannot be opened: another key, another place, or changed bytes."""


@dataclass(frozen=True, slots=True, repr=False)
class Keys:
    """The registry's keys by id, the current one first; never printed."""

    wrapping: Mapping[str, bytes]
    chain: Mapping[str, bytes]
    lookup: bytes


@dataclass(frozen=True, slots=True)
class Wrapped:
    """A data key as it is stored: its id, whose it is, and its bytes under a wrapping key."""

    id: uuid.UUID
    owner: str
    wrapping_key: str
    wrapped: str


def keys() -> Keys:
    """The keys of the settings; KeysMissing where there are none, ValueError where they cannot be read."""
    return _keys(settings.WRAPPING_KEYS, settings.CHAIN_KEYS, settings.LOOKUP_KEY)


@lru_cache(maxsize=4)
def _keys(wrapping: str, chain: str, lookup: str) -> Keys:
    for name, value in (("WRAPPING_KEYS", wrapping), ("CHAIN_KEYS", chain), ("LOOKUP_KEY", lookup)):
        if not value:
            raise KeysMissing(f"{name} is not set: this registry has no key to work with")
    return Keys(
        _listed("WRAPPING_KEYS", wrapping), _listed("CHAIN_KEYS", chain), _bytes("LOOKUP_KEY", lookup)
    )


def _listed(name: str, text: str) -> dict[str, bytes]:
    found = {}
    for item in text.split(","):
        key_id, colon, encoded = item.strip().partition(":")
        if not colon or not key_id:
            raise KeysMissing(f"{name} can be id:base64,id:base64; one item has no id")
        found[key_id] = _bytes(f"{name} {key_id}", encoded)
    return found


def _bytes(name: str, encoded: str) -> bytes:
    try:
        key = base64.b64decode(encoded, validate=True)
    except ValueError:
        raise KeysMissing(f"{name} is not base64") from None
    if len(key) != KEY:
        raise KeysMissing(f"{name} has {len(key)} bytes; a key has {KEY}")
    return key


def new_keys() -> dict[str, str]:
    """Settings with keys drawn at random, for a registry that has none."""

    def drawn() -> str:
        return base64.b64encode(secrets.token_bytes(KEY)).decode()

    return {
        "WRAPPING_KEYS": f"w{secrets.token_hex(3)}:{drawn()}",
        "CHAIN_KEYS": f"c{secrets.token_hex(3)}:{drawn()}",
        "LOOKUP_KEY": drawn(),
    }


def _sealed(key: bytes, data: bytes, bound_to: str) -> str:
    nonce = os.urandom(NONCE)
    return base64.b64encode(nonce + AESGCM(key).encrypt(nonce, data, bound_to.encode())).decode()


def _opened(key: bytes, text: str, bound_to: str) -> bytes:
    try:
        raw = base64.b64decode(text, validate=True)
        return AESGCM(key).decrypt(raw[:NONCE], raw[NONCE:], bound_to.encode())
    except (InvalidTag, ValueError):
        raise NotOpened("it cannot be opened with this key at this place") from None


def new_data_key(owner: str) -> tuple[Wrapped, bytes]:
    """A data key for a case or draft by its public code: as stored, and as used."""
    key = secrets.token_bytes(KEY)
    return wrap(key, uuid.uuid4(), owner), key


def wrap(key: bytes, key_id: uuid.UUID, owner: str) -> Wrapped:
    """A data key under the current wrapping key."""
    wrapping_key = next(iter(keys().wrapping))
    wrapped = _sealed(keys().wrapping[wrapping_key], key, write([owner, wrapping_key]))
    return Wrapped(key_id, owner, wrapping_key, wrapped)


def unwrap(stored: Wrapped) -> bytes:
    """The data key; KeysMissing names the wrapping key's id, NotOpened where it was changed or moved."""
    key = keys().wrapping.get(stored.wrapping_key)
    if key is None:
        raise KeysMissing(f"the wrapping key {stored.wrapping_key} is missing from WRAPPING_KEYS")
    return _opened(key, stored.wrapped, write([stored.owner, stored.wrapping_key]))


def seal(fields: Mapping[str, str], key: bytes, registry: str, code: str, version: int | str) -> str:
    """Texts by JSON pointer as one blob, bound to this registry, case code and version."""
    return _sealed(key, write(dict(fields)).encode(), write([registry, code, version]))


def unseal(blob: str, key: bytes, registry: str, code: str, version: int | str) -> dict[str, str]:
    """The texts by JSON pointer; NotOpened where key, place or bytes are not those of `seal`."""
    opened: dict[str, str] = read(_opened(key, blob, write([registry, code, version])))
    return opened


def lookup(site: str, reference: str) -> str:
    """The keyed hash by which a local reference is found again: case, spaces and width do not count."""
    normal = "".join(unicodedata.normalize("NFKC", reference).casefold().split())
    return hmac.new(keys().lookup, write([site, normal]).encode(), hashlib.sha256).hexdigest()


def current_chain_key() -> str:
    """The id of the chain key that new entries are made with."""
    return next(iter(keys().chain))


def chain_mac(chain_key: str, previous: str, number: int, text: str) -> str:
    """HMAC over the previous mac, the entry's number and the SHA-256 of its text."""
    key = keys().chain.get(chain_key)
    if key is None:
        raise KeysMissing(f"the chain key {chain_key} is missing from CHAIN_KEYS")
    return hmac.new(key, f"{previous}:{number}:{digest(text)}".encode(), hashlib.sha256).hexdigest()


def digest(text: str) -> str:
    """SHA-256 of a text, in hexadecimal."""
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


class Spool:
    """Seals and opens texts with a key that is held in memory only, for what lies on disk between two steps."""

    def __init__(self) -> None:
        self._cipher = AESGCM(AESGCM.generate_key(bit_length=256))

    def sealed(self, text: str) -> bytes:
        """One line for the spool file."""
        nonce = os.urandom(NONCE)
        return base64.b64encode(nonce + self._cipher.encrypt(nonce, text.encode(), None))

    def opened(self, line: bytes) -> str:
        """The text of a line."""
        raw = base64.b64decode(line)
        return self._cipher.decrypt(raw[:NONCE], raw[NONCE:], None).decode()
