"""Who may do what: roles by name, and for each act the roles that may do it.

Everybody who is signed in may look. An act that stands nowhere here is an administrator's, so that a new one is never
open by an oversight; a test asks for each act to stand somewhere.
"""

from collections.abc import Iterable
from typing import Final

VIEWER: Final = "viewer"
OPERATOR: Final = "operator"
MAINTAINER: Final = "maintainer"
STOCK_KEEPER: Final = "stock keeper"
ADMINISTRATOR: Final = "administrator"

ROLES: Final = (VIEWER, OPERATOR, MAINTAINER, STOCK_KEEPER, ADMINISTRATOR)

WHAT: Final = {
    VIEWER: "looks at every page",
    OPERATOR: "acknowledges and shelves alarms, orders movements, follows receipts, dips, drains, releases tanks",
    MAINTAINER: "writes down faults, checks loops, tests alarms and takes them out of service",
    STOCK_KEEPER: "keeps the stock book: papers, samples, receipts, closing",
    ADMINISTRATOR: "all of it, and who may come in",
}

_ACTS: Final[dict[str, tuple[str, ...]]] = {
    OPERATOR: (
        "acknowledge", "shelve", "unshelve", "reset_latch", "reset_extremes", "plan_movement", "end_plan",
        "plan_receipt", "start_receipt", "check_receipt_line", "note_receipt_check", "sample_receipt",
        "forecast_receipt", "call_off_receipt", "decide_receipt", "document_receipt", "add_dip", "withdraw_dip",
        "add_density_sample", "drain_check", "withdraw_drain_check", "release_tank", "quarantine_tank", "add_document",
        "hand_over", "take_over",
    ),
    MAINTAINER: (
        "acknowledge", "shelve", "unshelve", "reset_latch", "reset_extremes", "remove_from_service",
        "return_to_service", "begin_alarm_test", "tell_alarm_test", "end_alarm_test", "start_loop_check",
        "take_loop_step", "finish_loop_check", "abort_loop_check", "fault_entry", "requalify", "remove_tank",
        "return_tank", "quarantine_tank", "add_dip", "withdraw_dip", "drain_check", "withdraw_drain_check",
        "sign_leak_test", "decide_leak", "hand_over", "take_over",
    ),
    STOCK_KEEPER: (
        "acknowledge", "add_document", "import_documents", "correct_document", "undo_document", "close_stock",
        "correct", "add_dip", "withdraw_dip", "add_density_sample", "plan_movement", "end_plan", "plan_receipt",
        "start_receipt", "check_receipt_line", "note_receipt_check", "sample_receipt", "forecast_receipt",
        "call_off_receipt", "decide_receipt", "document_receipt", "drain_check", "withdraw_drain_check",
        "release_tank", "quarantine_tank", "lift_quarantine", "sign_leak_test", "decide_leak", "hand_over", "take_over",
    ),
}  # fmt: skip


def may(roles: Iterable[str], act: str) -> bool:
    """True where one of the roles may do the act."""
    held = set(roles)
    return ADMINISTRATOR in held or any(act in _ACTS.get(role, ()) for role in held)


def roles_for(act: str) -> list[str]:
    """The roles that may do an act, the administrator last."""
    return [role for role in ROLES if role == ADMINISTRATOR or act in _ACTS.get(role, ())]


def named() -> frozenset[str]:
    """Every act that stands here by name."""
    return frozenset(act for acts in _ACTS.values() for act in acts)
