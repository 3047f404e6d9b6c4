"""A leak test of the fake farm, made up: one tank without a loss, one with, the others refused."""

from console.facts import Json

DAY_MS = 86_400_000


def fake_leak(tank: str, start: str, end: str) -> Json:
    """A test of a day; start and end as ISO."""
    empty = dict.fromkeys(
        ("loss_m3_per_h", "u_m3_per_h", "threshold_m3_per_h", "detectable_m3_per_h", "free", "fit", "hours")
    )
    body: Json = {
        "tank": tank, "product": "Jet A-1", "verdict": "refused", "from": None, "to": None, "smallest_m3_per_h": None,
        "claim_at_most_m3_per_h": 0.00757, "averaging": True, "terms": [], "refusals": [], **empty,
    }  # fmt: skip
    if tank not in ("ostler-n", "ostler-s"):
        return body | {"refusals": [{"why": "coarse", "has": 0.001, "needs": 0.0001}]}
    loss = 0.0004 if tank == "ostler-n" else 0.0061
    hours = [k + 0.5 for k in range(24)]
    line = [465 - loss * (h - 12) for h in hours]
    means = [v + 0.002 * (-1) ** k for k, v in enumerate(line)]
    fit = {
        "correlation": 0.2, "free": 9.0, "residual_m3": 0.002, "hours": hours, "gsv_m3": means, "line_m3": line,
        "wave_m3": line,
    }  # fmt: skip
    terms = [{"name": "fit", "m3_per_h": 0.0006}, {"name": "dry_shell", "m3_per_h": 0.0008}]
    return body | {
        "verdict": "no_loss_seen" if tank == "ostler-n" else "loss", "from": start, "to": end, "hours": 24.0,
        "loss_m3_per_h": loss, "u_m3_per_h": 0.001, "threshold_m3_per_h": 0.0017, "detectable_m3_per_h": 0.0034,
        "free": 40.0, "fit": fit, "terms": terms, "smallest_m3_per_h": 0.0014,
    }  # fmt: skip
