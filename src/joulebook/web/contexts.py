"""The context record of every page that belongs to no other module: what its template may use."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import ClassVar

from joulebook.web.pages import Page

__all__ = ["ErrorPage", "JoinPage", "SignInPage"]


@dataclass(frozen=True, slots=True)
class ErrorPage(Page):
    """Something could not be done. title, message, remedy: in plain words. faults: the single things. back: where to go on."""

    template: ClassVar[str] = "error.html.j2"
    title: str
    message: str
    remedy: str = ""
    faults: tuple[str, ...] = ()
    back: str = "/"
    back_label: str = "Back"


@dataclass(frozen=True, slots=True)
class JoinPage(Page):
    """Where a group types in its bench's code. code: as it was typed. problem: why it was not taken, "" at first."""

    template: ClassVar[str] = "join.html.j2"
    code: str = ""
    problem: str = ""


@dataclass(frozen=True, slots=True)
class SignInPage(Page):
    """Where the teacher signs in.

    has_passphrase: whether one was set. problem: why the last try failed, "" at first. next: the page to go to then.
    """

    template: ClassVar[str] = "sign_in.html.j2"
    has_passphrase: bool
    problem: str = ""
    next: str = field(default="/sections")
