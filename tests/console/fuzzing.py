"""Made-up requests over the API's own description, by schemathesis: what its tests share, in process or by HTTP."""

from collections.abc import Callable, Iterator

import schemathesis
from hypothesis import HealthCheck, Phase, given, seed, settings
from schemathesis import Case, GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
    unsupported_method,
)
from starlette.types import ASGIApp, Receive, Scope, Send

SEED = 20260131
CHECKS = [
    not_a_server_error, status_code_conformance, content_type_conformance, response_headers_conformance,
    response_schema_conformance, unsupported_method,
]  # fmt: skip
"""No 5xx, no status, media type, header or field that is not described."""
BOTH = (GenerationMode.POSITIVE, GenerationMode.NEGATIVE)

Schema = schemathesis.schemas.BaseSchema


def local(app: ASGIApp) -> ASGIApp:
    """The application as a client on the same machine asks it."""

    async def asked(scope: Scope, receive: Receive, send: Send) -> None:
        await app(scope | {"client": ("127.0.0.1", 50000)}, receive, send)

    return asked


def operations(schema: Schema) -> Iterator[schemathesis.APIOperation]:
    for found in schema.get_all_operations():
        yield found.ok()


def pelt(
    operation: schemathesis.APIOperation,
    send: Callable[[Case], object],
    *,
    examples: int,
    modes: tuple[GenerationMode, ...] = BOTH,
) -> None:
    """So many requests of each mode that fit the description, and that do not. The same each time."""
    for mode in modes:

        @seed(SEED)
        @settings(
            max_examples=examples, deadline=None, database=None, phases=[Phase.generate],
            suppress_health_check=list(HealthCheck),
        )  # fmt: skip
        @given(case=operation.as_strategy(generation_mode=mode))
        def ask(case: Case) -> None:
            send(case)

        try:
            ask()
        except Exception as error:
            if "unsatisfiable" not in type(error).__name__.lower() and "Unable to satisfy" not in str(error):
                raise
