"""The house itself: whose it is, how well it works, what it is set to and whom it reaches."""

from typing import Protocol

from console.facts.answers import Json, SiteFacts
from console.people import People


class HouseFacts(Protocol):
    """The daemon and its site as a whole."""

    @property
    def site(self) -> SiteFacts: ...

    @property
    def people(self) -> People:
        """Who may come in."""
        ...

    def metrics(self) -> bytes:
        """What the daemon counts of itself, as Prometheus text."""
        ...

    def vital_checks(self) -> list[Json]:
        """Whether the daemon does its work: ``{name, ok, text}`` each, `text` only where it does not."""
        ...

    def not_ready(self) -> str:
        """Why the figures cannot be used yet, "" when they can."""
        ...

    def files(self) -> Json:
        """The files that are kept: ``{unclean, done, faults}``.

        `unclean`: names of those that were not closed in order before this start, and are therefore looked at; `done`:
        nothing is left to look at; `faults`: what is damaged, each as a text.
        """
        ...

    def settings(self) -> Json:
        """The site file as it is run: ``{settings, fingerprint, files, warnings}``.

        `settings`: key path to value in SI, without secrets; `files`: names of what was read; `warnings`: texts.
        """
        ...

    def channels(self) -> list[Json]:
        """The channels of notification, in the site file's order; empty where there are none.

        Each: ``{id, kind, who, failing, failures, next_try_s, waiting, sent, failed, alive, withheld, last_sent | None,
        last_answer, last_error}``, counted since the daemon started; `failures` are those in a row, `waiting` alarms
        that are still to be told, `alive` messages that show that the daemon lives and `withheld` how often they were
        not sent because it had nothing new.
        """
        ...

    def servers(self) -> list[Json]:
        """The time-series servers that hold the readings too, in the site file's order; empty where there are none.

        Each: ``{id, url, reads, rejects, seq, sent, rejected, dropped, waiting, lag_s, failure, held, next_try_s}``:
        `sent`, `rejected`, `dropped` count readings since the server was first named (`dropped`: let go by this machine
        before they were sent), `waiting` about how many it lacks and `lag_s` for how long it has, `failure` why nothing
        moves ("" when all is well), `held` whether a person must mend it, `rejects` the file of rejected lines or "".
        """
        ...
