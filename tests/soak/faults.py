"""Killing a process in the middle of saves, drafts and imports, and looking at what is left.

Run as `python -m tests.soak.faults --rounds N` with the scratch registry's settings in the environment; prints one
line of JSON. Each round forks a child that saves, submits drafts and imports, and says through a pipe what was
confirmed to it; the child is killed with SIGKILL after a time drawn at random. Then nothing may be half-written,
everything that was confirmed must be there, and of a draft that was begun either the draft is there or its case.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import signal
import sys
import time
from typing import Any

import django

SITE = "north"
OPERATOR = "operator@north.example"
BATCH = 25
VERSION_AFTER = {"begin": 0, "submit": 1, "change": 1, "changed": 2}
STAGES = tuple(VERSION_AFTER)
"""What is confirmed of a draft, and the version that its case then has at least."""
LONGEST = 0.6
"""Seconds until the kill, at the most."""
VERIFY_EVERY = 10
"""Rounds between two verifications of the whole history, which grows with every round."""


def _documents(name: str, count: int) -> list[dict[str, Any]]:
    from tests.builders import a_case, a_ladder

    ladder = (
        "wire_stuck: echo=done, steady_traction=worse>wire_unravelled, snare_over_wire=unchanged, "
        "trap_balloon_in_guide=resolved"
    )
    return [
        a_case(
            a_ladder(ladder, ref="C1", note="typed by hand"),
            id=f"{name}-{number}",
            site=SITE,
            patient={"local_reference": f"{name}-{number}", "age": 71},
            procedure={
                "date": "2026-03-14",
                "staff": [{"person": f"p-{number % 7}", "role": "first_operator"}],
            },
        )
        for number in range(count)
    ]


def _child(name: str, pipe: int, seed: int) -> None:
    """Save and import for ever; each confirmation goes down the pipe as a line."""
    from django.db import connection

    from registry.recording.cases import amend_case, submit_case
    from registry.recording.imports import Manner, Source, import_documents

    connection.close()
    drawn = random.Random(seed)
    turn = 0
    while True:
        turn += 1
        if drawn.random() < 0.3:
            _submit_drafts(pipe)
        elif drawn.random() < 0.4:
            documents = _documents(f"{name}-i{turn}", BATCH)
            sources = [Source(str(number), document) for number, document in enumerate(documents)]
            import_documents(sources, manner=Manner(), by=None, warn=lambda line: None)
            os.write(pipe, f"import {name}-i{turn}\n".encode())
        else:
            (document,) = _documents(f"{name}-s{turn}", 1)
            case = submit_case(document, by=None)
            os.write(pipe, f"save {document['id']}\n".encode())
            amend_case(
                case, document | {"narrative": f"turn {turn}"}, version=1, reason="seen again", by=None
            )
            os.write(pipe, f"amend {document['id']}\n".encode())


def _submit_drafts(pipe: int) -> None:
    """Begin a draft, submit it, and submit a change of the case; the public code of the case is that of its draft."""
    from dataclasses import replace

    from registry.editing import apply
    from registry.models import Person, Site
    from registry.recording.draft_saving import submit_draft
    from registry.recording.drafts import Sent, begin_amendment, begin_draft, kept, opened_draft

    by, site = Person.objects.get(email=OPERATOR), Site.objects.get(code=SITE)

    def press(code: str, *operations: str) -> None:
        def edit(stood: Any) -> Any:
            document = stood.now.document
            for operation in operations:
                document = apply(document, operation).document
            return replace(stood.now, document=document)

        kept(by, code, Sent(opened_draft(by, code).version, "p", None, "", operations[-1]), edit)

    code = begin_draft(site, by)
    os.write(pipe, f"begin {code}\n".encode())
    press(code, "set C1.device.class guidewire", "set C1.situation wire_stuck", "set C1.ending out_whole")
    case = submit_draft(by, code, merge=lambda behind: behind.now, status="short")
    os.write(pipe, f"submit {code}\n".encode())
    change = begin_amendment(case, by)
    os.write(pipe, f"change {code}\n".encode())
    press(change, "set C1.ending left_in_place")
    submit_draft(by, change, merge=lambda behind: behind.now)
    os.write(pipe, f"changed {code}\n".encode())


def _wrong_of_drafts(confirmed: list[list[str]]) -> list[str]:
    """Where a draft and its case are both there, or neither; or a change is neither saved nor kept."""
    from registry.models import Case, DataKey, Draft

    reached: dict[str, str] = {name: what for what, name in confirmed if what in STAGES}
    cases = dict(Case.objects.filter(code__in=reached).values_list("code", "version"))
    drafts = set(Draft.objects.filter(code__in=reached).values_list("code", flat=True))
    changes = set(Draft.objects.filter(case__code__in=reached).values_list("case__code", flat=True))
    wrong = []
    for code, stage in reached.items():
        version = cases.get(code, 0)
        if (code in drafts) == (version > 0):
            wrong.append(f"draft and case {code} are both there, or neither")
        if version < VERSION_AFTER[stage]:
            wrong.append(f"{stage} of {code} was confirmed and is not there")
        if stage in ("change", "changed") and (code in changes) == (version > 1):
            wrong.append(f"the change of {code} is saved and a draft, or neither")
        if DataKey.objects.filter(owner=code).count() != 1:
            wrong.append(f"{code} has another number of keys than one")
    return wrong


def _confirmed(pipe: int) -> list[list[str]]:
    raw = b""
    while part := os.read(pipe, 65536):
        raw += part
    return [line.split(" ", 1) for line in raw.decode().split("\n")[:-1]]


def _one_round(number: int, seed: int) -> list[list[str]]:
    """Fork, let it work, kill it; returns what it said was confirmed."""
    from django.db import connection

    connection.close()
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reading)
        try:
            _child(f"r{number}", writing, seed)
        finally:
            os._exit(1)
    os.close(writing)
    time.sleep(random.Random(seed).uniform(0.02, LONGEST))
    os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    if not os.WIFSIGNALED(status):
        raise SystemExit(f"round {number}: the child ended by itself, so nothing was killed")
    said = _confirmed(reading)
    os.close(reading)
    return said


def _wrong(number: int, confirmed: list[list[str]]) -> list[str]:
    """What is missing or half-written of a round."""
    from registry.models import Case, Version

    there = dict(
        Case.objects.filter(document_id__startswith=f"r{number}-").values_list("document_id", "version")
    )
    wrong = []
    for what, name in confirmed:
        if what in STAGES:
            continue
        if what == "import":
            missing = [f"{name}-{one}" for one in range(BATCH) if f"{name}-{one}" not in there]
        else:
            missing = [] if there.get(name, 0) >= (2 if what == "amend" else 1) else [name]
        wrong += [f"{what} of {one} was confirmed and is not there" for one in missing]
    imports: dict[str, int] = {}
    for document in there:
        batch = document.rsplit("-", 1)[0]
        imports[batch] = imports.get(batch, 0) + 1
    halves = {name: count for name, count in imports.items() if "-i" in name and count != BATCH}
    wrong += [f"{name} has {count} of {BATCH} cases" for name, count in halves.items()]
    if Version.objects.filter(case__document_id__startswith=f"r{number}-").count() != sum(there.values()):
        wrong.append("versions and cases do not tally")
    return wrong + _wrong_of_drafts(confirmed)


def _broken() -> list[str]:
    """What the verification of the whole history finds."""
    from registry.verification import Broken, verified

    try:
        verified()
    except Broken as broken:
        return [str(broken)]
    return []


def main() -> None:
    """Run the rounds and print how they went."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--rounds", type=int, required=True)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")
    django.setup()
    from django.db import connection

    from deploy.local_settings import ensure_keys, migrate
    from registry.recording.sites import add_site, give_role
    from registry.recording.snapshot import snapshot
    from registry.terms import Role

    migrate()
    ensure_keys()
    give_role(OPERATOR, add_site(SITE, "North", by=None), Role.OPERATOR, by=None)
    wrong: list[str] = []
    confirmed = 0
    for number in range(options.rounds):
        said = _one_round(number, options.seed * 1_000_003 + number)
        confirmed += len(said)
        with snapshot():  # PostgreSQL may still end what a killed process had sent it
            found = _wrong(number, said)
        if number % VERIFY_EVERY == 0 or number == options.rounds - 1:
            found += _broken()
        wrong += [f"round {number}: {sentence}" for sentence in found]
    print(
        json.dumps(
            {
                "engine": connection.vendor,
                "rounds": options.rounds,
                "confirmed": confirmed,
                "wrong": wrong[:20],
            }
        )
    )
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
