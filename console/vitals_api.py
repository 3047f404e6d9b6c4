"""Addresses for machines that look after the daemon: metrics, and whether it does its work."""

from typing import Any

from fastapi import APIRouter
from fastapi.responses import JSONResponse, Response

from console.facts import Facts
from console.problems import MEDIA_TYPE, problem, said

TEXT = "text/plain; version=0.0.4; charset=utf-8"
"""Prometheus exposition format."""
ILL: dict[int | str, dict[str, Any]] = said(503, "the daemon does not do its work")


class VitalsApi:
    """/metrics, /healthz and /readyz."""

    def __init__(self, facts: Facts) -> None:
        self._facts = facts
        self.router = APIRouter()
        plain: dict[int | str, dict[str, Any]] = {200: {"content": {"text/plain": {"schema": {"type": "string"}}}}}
        self.router.get("/metrics", response_class=Response, responses=plain)(self.metrics)
        self.router.get("/healthz", responses=ILL)(self.health)
        self.router.get("/readyz", responses=ILL)(self.ready)

    async def metrics(self) -> Response:
        """What the daemon counts of itself, as Prometheus text."""
        return Response(self._facts.metrics(), media_type=TEXT)

    async def health(self) -> Response:
        """200 while every check holds: the loop turns, each bus is polled, ticks are decided, the store takes them."""
        checks = self._facts.vital_checks()
        ill = [check for check in checks if not check["ok"]]
        if not ill:
            return JSONResponse({"ok": True, "checks": checks})
        detail = "; ".join(check["text"] for check in ill)
        return JSONResponse(problem(503, detail, checks=checks), 503, media_type=MEDIA_TYPE)

    async def ready(self) -> Response:
        """200 once every instrument has been asked and every check holds."""
        why = self._facts.not_ready()
        if not why:
            return JSONResponse({"ok": True})
        return JSONResponse(problem(503, why), 503, media_type=MEDIA_TYPE)
