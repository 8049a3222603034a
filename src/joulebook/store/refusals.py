"""What the store refuses, beyond what makes no sense in a section: `classroom.section.check` sees no bytes and no other window."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping

from joulebook.classroom.changes import Draft, when
from joulebook.classroom.section import MOST_BENCHES, Section
from joulebook.errors import InputError, StaleError

__all__ = ["check_base", "check_file", "check_place", "is_plain", "no_bench", "no_section"]


def check_base(section: Section, draft: Draft, base: int | None) -> None:
    """Refuse to save a step over what somebody else saved since the page was made.

    base: the number of the step's last change that the page was made from. Raises StaleError, with both texts.
    """
    if draft.kind != "work-saved" or base is None or draft.bench is None:
        return
    saved = section.benches[draft.bench].work.get(str(draft.body["step"]))
    if saved is None or saved.seq <= base or draft.body.get("over") == saved.seq:
        return
    fields = draft.body["fields"]
    assert isinstance(fields, Mapping)
    if dict(saved.fields) == dict(fields):
        return
    what = f"The step “{draft.body['step']}” was saved in another window meanwhile."
    remedy = "Compare the two, and keep one of them."
    sent = {str(name): str(text) for name, text in fields.items()}
    raise StaleError(what, remedy=remedy, saved=dict(saved.fields), sent=sent, seq=saved.seq)


def check_file(section: Section, draft: Draft, content: bytes | None, *, kept: int | None) -> None:
    """Check the file of a record that is to be added.

    content: its bytes, None when they are said to be kept already. kept: size of the kept file of this hash, None for none.
    Raises InputError when the bytes are not those announced or are missing, and (code "double") when the bench holds them already.
    """
    sha, size = str(draft.body["sha256"]), kept if content is None else len(content)
    if content is not None and hashlib.sha256(content).hexdigest() != sha:
        raise _again("The file's bytes are not those that were announced.")
    if size is None:
        raise _again("The file's bytes are missing.")
    if draft.body["size"] != size:
        raise _again(f"The file has {size:,} bytes, and not {draft.body['size']:,} as was announced.")
    assert draft.bench is not None
    role, run = str(draft.body["role"]), str(draft.body.get("run") or "")
    for record in section.benches[draft.bench].records:
        if record.sha256 == sha and not record.discarded and record.run == run:
            clock = when(record.at).astimezone().strftime("%H:%M")
            what = f"{draft.body['name']} holds the same as {record.name}, which came at {clock}."
            remedy = "Nothing was lost, and nothing needs to be done."
            if record.role != role:
                remedy = f"It is a {record.role} record so far; if it is a {role} record, change that where it is listed."
            raise InputError(what, remedy=remedy, code="double")


def check_place(section: str, bench: int) -> None:
    """Refuse what can be no bench of any section, before a database stumbles over it."""
    if not is_plain(section) or not 1 <= bench <= MOST_BENCHES:
        raise no_bench(bench)


def is_plain(text: str) -> bool:
    """Whether a text can be an id, a code or a hash; there are others that a database or its driver refuses."""
    return text.isascii() and text.isprintable()


def no_section() -> InputError:
    """Return the error for a section that is not there."""
    return InputError("There is no such section.", remedy="Look at the list of sections.", code="no-section")


def no_bench(bench: int) -> InputError:
    """Return the error for a bench that is not there."""
    return InputError(f"There is no bench {str(bench)[:20]} in this section.", remedy="Look at the board.", code="no-section")


def _again(what: str) -> InputError:
    return InputError(what, remedy="Send the file again.", code="refused")
