"""Who asks: the person of the request that is being answered, for whoever needs their name or their rights.

Set by `console.sign_in` around each request, read anywhere below it. Without sign-in there is nobody, and the name in
the body is believed, as before.
"""

from contextvars import ContextVar
from typing import Annotated, Final, NamedTuple

from pydantic import AfterValidator, Field, StringConstraints

from console.people import Person
from console.problems import Refused
from console.roles import may, roles_for

PRINTABLE: Final = r"^[^\x00-\x1f\x7f-\x9f\u2028\u2029]*$"


class Asking(NamedTuple):
    """A request's person, None where nobody is signed in, and whether the site has users at all."""

    person: Person | None
    users: bool


NOBODY: Final = Asking(None, False)
_asking: ContextVar[Asking] = ContextVar("asking", default=NOBODY)


def asking() -> Asking:
    """Who asks now."""
    return _asking.get()


def ask_as(who: Asking) -> None:
    """From here on in this task, this person asks."""
    _asking.set(who)


def permit(act: str) -> None:
    """Raises `Refused`: 401 where somebody must sign in first, 403 where their role does not allow it."""
    who = _asking.get()
    if not who.users:
        return
    if who.person is None:
        raise Refused(401, "sign in first: changes are by name")
    if not may(who.person.roles, act):
        held = ", ".join(who.person.roles) or "none"
        raise Refused(403, f"this is for {' or '.join(roles_for(act))}; {who.person.name} is {held}")


def _own_name() -> str:
    person = _asking.get().person
    return "" if person is None else person.name


def _is_own(name: str) -> str:
    person = _asking.get().person
    if person is not None and name != person.name:
        raise ValueError(f"you are signed in as {person.name}; sign in under the name that acts")
    return name


PersonName = Annotated[
    str,
    StringConstraints(strip_whitespace=True, min_length=1, max_length=64, pattern=PRINTABLE),
    AfterValidator(_is_own),
    Field(default_factory=_own_name, validate_default=True, description="who acts; whoever is signed in, if left out"),
]
"""Who acts. Signed in: that person, whatever is left out; nobody else's name is taken."""
