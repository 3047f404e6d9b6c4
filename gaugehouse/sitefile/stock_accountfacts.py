"""What the keys of `[stock.accounts]` mean together, and the rules that they make."""

from gaugehouse.sitefile.draft import Draft
from gaugehouse.sitefile.stock_accounts import AccountsTable
from inventory.accountrules import METER_FRAC, AccountRules
from inventory.tolerances import PUBLISHED, Rule, RuleName


def check_accounts(draft: Draft) -> None:
    """What the keys mean together."""
    table = draft.file.stock.accounts
    if table.rule is RuleName.OWN and table.own is None:
        draft.report.error(
            "stock.accounts.own",
            'rule = "own" needs own; write own = {words = "...", source = "...", percent = "0.3 %"}',
        )
    if table.own is not None:
        if table.rule is not RuleName.OWN:
            draft.report.error("stock.accounts.own", 'own is used by rule = "own" only; write that, or remove own')
        elif not table.own.percent and not table.own.fixed:
            draft.report.error("stock.accounts.own", "it allows nothing; give percent, fixed or both")


def account_rules(table: AccountsTable) -> AccountRules:
    rule = None if table.rule is None or table.rule is RuleName.OWN else PUBLISHED[table.rule]
    if table.rule is RuleName.OWN and table.own is not None:
        own = table.own
        rule = Rule("own", own.words, own.source, own.base, own.percent, own.fixed, own.corrected)
    given = table.meter_limits
    return AccountRules(
        rule, table.max_age, table.dip_age, table.shared_by,
        METER_FRAC if given is None else given / 100, given is not None,
        None if table.evaporation is None else table.evaporation / 100, table.line_fill, table.daily_samples,
    )  # fmt: skip
