"""Checks the whole history on one snapshot, as streams of bounded memory: guards, chain, versions, looks, rows, keys.

Changes nothing and stops at the first thing that is broken, which `Broken` names. That journal, rows and head were all
set back together can only be seen from outside: by a witness, a head that was printed and kept elsewhere.
"""

from __future__ import annotations

from registry import guards
from registry.recording.snapshot import snapshot
from registry.verification.broken import Broken
from registry.verification.cases import check_cases
from registry.verification.chain import Witness, check_chain
from registry.verification.keys import check_spare_keys

__all__ = ["Broken", "Witness", "verified"]


def verified(witness: Witness | None = None) -> str:
    """The head as `NUMBER:MAC` where everything is whole and the chain contains the witness; raises Broken.

    KeysMissing names a key that the check would need; no `atomic` around it.
    """
    with snapshot():
        if missing := guards.missing():
            raise Broken(
                f"the guard {missing[0]} of the database is not in place, or not as it should be: "
                "what it guards may have been changed"
            )
        head = check_chain(witness)
        check_cases()
        check_spare_keys()
    return head
