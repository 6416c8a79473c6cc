"""What is sealed opens with its own key at its own place and nowhere else; keys that cannot be used are named."""

from __future__ import annotations

import base64
import hashlib
import hmac
import uuid
from dataclasses import replace

import pytest

from registry import sealing
from registry.sealing import (
    KeysMissing,
    NotOpened,
    Spool,
    chain_mac,
    digest,
    keys,
    lookup,
    new_data_key,
    new_keys,
    seal,
    unseal,
    unwrap,
    wrap,
)

KEY, OTHER = b"k" * 32, b"o" * 32
TEXTS = {"/narrative": "The wire stuck.", "/patient/local_reference": "Nº 7\n\u202e"}
PLACE = ("a registry", "7G4K2M9TX", 3)


def encoded(key: bytes) -> str:
    return base64.b64encode(key).decode()


def test_what_was_sealed_is_read_again() -> None:
    assert unseal(seal(TEXTS, KEY, *PLACE), KEY, *PLACE) == TEXTS


def test_the_same_text_is_never_sealed_to_the_same_bytes() -> None:
    assert seal(TEXTS, KEY, *PLACE) != seal(TEXTS, KEY, *PLACE)


def test_nothing_of_the_text_shows_in_the_blob() -> None:
    raw = base64.b64decode(seal(TEXTS, KEY, *PLACE))
    assert b"wire" not in raw
    assert b"narrative" not in raw


@pytest.mark.parametrize(
    "place", [("another", PLACE[1], 3), ("a registry", "7G4K2M9TY", 3), ("a registry", PLACE[1], 4),
              ("a registry", PLACE[1], "draft")]
)  # fmt: skip
def test_a_blob_does_not_open_in_another_registry_case_or_version(place: tuple[str, str, int | str]) -> None:
    with pytest.raises(NotOpened):
        unseal(seal(TEXTS, KEY, *PLACE), KEY, *place)


def test_a_blob_does_not_open_with_another_key() -> None:
    with pytest.raises(NotOpened):
        unseal(seal(TEXTS, KEY, *PLACE), OTHER, *PLACE)


@pytest.mark.parametrize("at", [0, 11, 12, 40, -1])
def test_a_blob_with_one_bit_changed_does_not_open(at: int) -> None:
    raw = bytearray(base64.b64decode(seal(TEXTS, KEY, *PLACE)))
    raw[at] ^= 1
    with pytest.raises(NotOpened):
        unseal(base64.b64encode(bytes(raw)).decode(), KEY, *PLACE)


@pytest.mark.parametrize("blob", ["", "x", "%%%", encoded(b"short")])
def test_what_is_no_blob_does_not_open(blob: str) -> None:
    with pytest.raises(NotOpened):
        unseal(blob, KEY, *PLACE)


def test_a_data_key_opens_for_its_owner_alone() -> None:
    wrapped, key = new_data_key("7G4K2M9TX")
    assert unwrap(wrapped) == key
    with pytest.raises(NotOpened):
        unwrap(replace(wrapped, owner="7G4K2M9TY"))


def test_a_data_key_is_wrapped_by_the_first_wrapping_key(settings) -> None:
    settings.WRAPPING_KEYS = f"new:{encoded(OTHER)},old:{encoded(KEY)}"
    assert wrap(b"d" * 32, uuid.uuid4(), "7G4K2M9TX").wrapping_key == "new"


def test_an_older_wrapping_key_still_opens_and_does_not_pass_for_another(settings) -> None:
    settings.WRAPPING_KEYS = f"old:{encoded(KEY)}"
    wrapped, key = new_data_key("7G4K2M9TX")
    settings.WRAPPING_KEYS = f"new:{encoded(KEY)},old:{encoded(KEY)}"
    assert unwrap(wrapped) == key
    with pytest.raises(NotOpened):
        unwrap(replace(wrapped, wrapping_key="new"))


def test_a_missing_wrapping_key_is_named(settings) -> None:
    wrapped, _ = new_data_key("7G4K2M9TX")
    settings.WRAPPING_KEYS = f"new:{encoded(KEY)}"
    with pytest.raises(KeysMissing, match="test-wrapping"):
        unwrap(wrapped)


def test_a_missing_chain_key_is_named() -> None:
    with pytest.raises(KeysMissing, match="gone"):
        chain_mac("gone", "", 1, "{}")


@pytest.mark.parametrize(
    ("setting", "value", "says"),
    [
        ("WRAPPING_KEYS", "", "WRAPPING_KEYS is not set"),
        ("CHAIN_KEYS", "", "CHAIN_KEYS is not set"),
        ("LOOKUP_KEY", "", "LOOKUP_KEY is not set"),
        ("WRAPPING_KEYS", encoded(KEY), "one item has no id"),
        ("WRAPPING_KEYS", f":{encoded(KEY)}", "one item has no id"),
        ("CHAIN_KEYS", "c1:not base64!", "CHAIN_KEYS c1 is not base64"),
        ("LOOKUP_KEY", encoded(b"short"), "LOOKUP_KEY has 5 bytes; a key has 32"),
    ],
)
def test_keys_that_cannot_be_used_are_a_sentence(settings, setting: str, value: str, says: str) -> None:
    setattr(settings, setting, value)
    with pytest.raises(KeysMissing) as caught:
        keys()
    assert says in str(caught.value)
    assert encoded(KEY) not in str(caught.value)


def test_keys_are_never_printed() -> None:
    assert "w" * 32 not in repr(keys())
    assert encoded(b"w" * 32) not in f"{keys()}"


def test_new_keys_are_drawn_anew_and_can_be_used(settings) -> None:
    one, other = new_keys(), new_keys()
    assert not set(one.values()) & set(other.values())
    for name, value in one.items():
        setattr(settings, name, value)
    wrapped, key = new_data_key("7G4K2M9TX")
    assert unwrap(wrapped) == key


@pytest.mark.parametrize("typed", ["NM-12 3", " nm-123 ", "nm-\u00a0123", "ＮＭ－１２３", "Nm-123\t"])
def test_case_spaces_and_width_do_not_count_in_a_reference(typed: str) -> None:
    assert lookup("north", typed) == lookup("north", "NM-123")


@pytest.mark.parametrize(
    ("site", "reference"), [("south", "NM-123"), ("north", "NM-124"), ("north", "NM123")]
)
def test_another_site_or_reference_is_found_under_another_hash(site: str, reference: str) -> None:
    assert lookup(site, reference) != lookup("north", "NM-123")


def test_site_and_reference_do_not_run_into_each_other() -> None:
    assert lookup("north1", "23") != lookup("north", "123")


def test_the_look_up_depends_on_its_key(settings) -> None:
    before = lookup("north", "NM-123")
    settings.LOOKUP_KEY = encoded(OTHER)
    assert lookup("north", "NM-123") != before


def test_the_digest_is_sha_256() -> None:
    """FIPS 180-4's example of the message "abc", from memory."""
    assert digest("abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_the_mac_of_an_entry_is_an_hmac_over_the_one_before_its_number_and_its_digest() -> None:
    inner = hashlib.sha256(b"{}").hexdigest()
    expected = hmac.new(b"c" * 32, f"{'a' * 64}:7:{inner}".encode(), hashlib.sha256).hexdigest()
    assert chain_mac("test-chain", "a" * 64, 7, "{}") == expected


def test_the_mac_changes_with_each_of_its_parts() -> None:
    macs = {
        chain_mac("test-chain", previous, number, text)
        for previous, number, text in (("", 1, "{}"), ("0", 1, "{}"), ("", 2, "{}"), ("", 1, "[]"))
    }
    assert len(macs) == 4


def test_what_waits_on_the_disk_is_enciphered_with_a_key_of_that_run_alone() -> None:
    line = Spool().sealed("of a patient")
    assert b"patient" not in base64.b64decode(line)
    with pytest.raises(sealing.InvalidTag):
        Spool().opened(line)
