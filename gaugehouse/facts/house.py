"""The house itself: whose it is, how well it works, what it is set to and whom it reaches."""

from pathlib import Path

from console.facts import Json, SiteFacts
from gaugehouse.facts.asking import Asking, House
from gaugehouse.metrics import DaemonMetrics
from gaugehouse.people import DaemonPeople
from gaugehouse.vitals import Vitals


class DaemonHouse(Asking):
    """See `console.facts.house`."""

    def __init__(self, house: House) -> None:
        super().__init__(house)
        self._files, self._channels, self._servers = house.files, house.channels, house.servers
        self._vitals: Vitals | None = None
        self._metrics: DaemonMetrics | None = None
        self.people = DaemonPeople(self._core.people, house.submit, self._core.site.session_ms)

    @property
    def site(self) -> SiteFacts:
        return self._site

    def watch(self, vitals: Vitals, metrics: DaemonMetrics) -> None:
        """Hand over what looks after the daemon; it counts what this object shows, and so comes after it."""
        self._vitals, self._metrics = vitals, metrics

    def metrics(self) -> bytes:
        return b"" if self._metrics is None else self._metrics.text()

    def vital_checks(self) -> list[Json]:
        found = [] if self._vitals is None else self._vitals.checks()
        return [{"name": check.name, "ok": check.ok, "text": check.text} for check in found]

    def not_ready(self) -> str:
        return "it begins" if self._vitals is None else self._vitals.not_ready()

    def files(self) -> Json:
        return self._files()

    def settings(self) -> Json:
        site = self._core.site
        return {
            "settings": dict(site.settings),
            "fingerprint": site.fingerprint(),
            "files": [path.name for path in site.source_files],
            "warnings": [one.text.replace(one.file, Path(one.file).name, 1) for one in site.warnings],
        }

    def channels(self) -> list[Json]:
        return self._channels()

    def servers(self) -> list[Json]:
        return self._servers()
