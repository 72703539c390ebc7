"""A season of two jobs on the hand-made field."""

from __future__ import annotations

from dataclasses import replace

from synthetic_result import make_result

from evenacre.model import (
    Application,
    Field,
    Implement,
    Need,
    OperationPlan,
    Product,
    SeedLot,
    WithSeed,
)
from evenacre.planning.season.nutrients import AuditedJob
from evenacre.planning.season.season_totals import Ledger, ledger

LB, ACRE = 0.45359237, 4046.8564224
LB_AC = LB / ACRE
DAP = Product("18-46-0", {"N": 18.0, "P2O5": 46.0, "K2O": 0.0}, 840 / 2000 / LB)
CLOVER = Product(
    "red clover",
    kind="seed",
    seed=SeedLot(0.98, 0.87, 0.05, 270_000 / LB),
    bulk_density_kg_per_m3=770.0,
)
GRASS = Product(
    "orchardgrass",
    kind="seed",
    seed=SeedLot(0.90, 0.90, 0.0, 650_000 / LB),
    bulk_density_kg_per_m3=180.0,
)
MEADOW = Product("meadow", kind="seed", parts=(("red clover", 3.0), ("orchardgrass", 2.0)))


def job(product: Product, rate_lb_ac: float, name: str, **said: object) -> AuditedJob:
    """The hand-made result with its product placed at another rate."""
    result = make_result(operation=name)
    scale = rate_lb_ac / 150.0
    p = result.products[0]
    placed = replace(
        p,
        product=product.name,
        logged_kg=p.logged_kg * scale,
        applied_in_field_kg=p.applied_in_field_kg * scale,
        mean_rate_kg_per_m2=rate_lb_ac * LB_AC,
        target_kg_per_m2=rate_lb_ac * LB_AC,
        zones=tuple(replace(z, applied_kg=z.applied_kg * scale) for z in p.zones),
        unzoned_kg=p.unzoned_kg * scale,
        rate=replace(p.rate, values=p.rate.values * scale),
    )
    plan = OperationPlan(
        name=name,
        field=Field("Creek Forty"),
        implement=Implement(width_m=6.096, rows=32, rows_known=True, cost_per_s=120 / 3600),
        track_files=(),
        applications=(Application(product),),
        **said,  # type: ignore[arg-type]
    )
    return AuditedJob(plan, replace(result, products=(placed,)))


def make_ledger() -> Ledger:
    """A starter and a seeding of one field, with needs, salt, seed and money."""
    with_seed = WithSeed("barley", 0.0254, 0.1905, 15.0, 1.0, (("18-46-0", 0.5),))
    jobs = [
        job(DAP, 150.0, "Starter", method="with the seed", with_seed=with_seed, quote_per_m2=0.005),
        job(MEADOW, 25.0, "Seeding"),
    ]
    needs = [
        Need("Creek Forty", "Ridge", "N", 27 * LB_AC),
        Need("Creek Forty", None, "P2O5", 100 * LB_AC),
    ]
    return ledger(jobs, needs, [DAP, CLOVER, GRASS, MEADOW])
