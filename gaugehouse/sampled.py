"""The base density for `convert` where a person gives it, or the sample that it comes from, with the steps to show."""

from argparse import Namespace
from collections.abc import Callable
from typing import NamedTuple

from gaugehouse.errors import CallError
from gaugehouse.sitefile.facts import Site
from models.chain import Step, base_word
from models.density import DensityMeter, base_density_of_sample, glass_factor
from models.errors import OutOfRange
from models.reading import Quality

Quantity = Callable[[str, str | None, str], float | None]


class Sampled(NamedTuple):
    """A base density, None for the product's own; how it came about as steps of the chain, and its rule."""

    density_kgpm3: float | None
    steps: tuple[Step, ...] = ()
    rule: str = ""


def density_asked(args: Namespace, site: Site, tank_id: str, quantity: Quantity) -> Sampled:
    """From `--density`, or from `--observed-density` with `--observed-at`. Raises `CallError` for what is no sample."""
    given = quantity("--density", args.density, "kg/m3")
    observed = quantity("--observed-density", args.observed_density, "kg/m3")
    t = quantity("--observed-at", args.observed_at, "degC")
    if observed is None and t is None:
        if args.meter is not None:
            raise CallError("--meter goes with --observed-density; add that, or remove --meter")
        return Sampled(given, (), "" if given is None else "entered")
    if given is not None:
        raise CallError("--density is the base density, --observed-density that of a sample; give one of the two")
    if observed is None or t is None:
        raise CallError(
            "--observed-density and --observed-at go together: a density is worth nothing without its own t"
        )
    product, base = site.product_of(tank_id), site.reference_degC
    meter = DensityMeter(args.meter or DensityMeter.HYDROMETER)
    try:
        density = base_density_of_sample(
            product.group,
            observed,
            t,
            meter,
            base_degC=base,
            edition=site.volume_correction,
            alpha60_per_degF=product.alpha60_per_degF,
        )
    except OutOfRange as error:
        raise CallError(f"--observed-density {args.observed_density}: {error}") from error
    good = Quality.GOOD.word
    steps = [
        Step("rho_s", "density of the sample", observed, "kg/m3", f"read on a {meter.value}", good),
        Step("t_s", "temperature of the sample", t, "degC", "measured", good),
    ]
    if meter is DensityMeter.HYDROMETER:
        rule = f"growth of its glass since {base_word(base)} (secondary)"
        steps.append(Step("HYC", "correction for the hydrometer's glass", glass_factor(t, base), "", rule, good))
    return Sampled(density, tuple(steps), f"from the sample, {site.volume_correction}")


def with_sample(steps: list[Step], sampled: Sampled) -> list[Step]:
    """The chain's steps with those of the sample before the base density."""
    if not sampled.rule:
        return steps
    out: list[Step] = []
    for step in steps:
        if step.symbol == "rho_b":
            out += sampled.steps
            step = step._replace(rule=sampled.rule)
        out.append(step)
    return out
