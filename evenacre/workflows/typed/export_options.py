"""What is typed for task data of the plan: which jobs, and their rates."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from evenacre.workflows.typed.declared import Typed

CHOICE, RATES = "Which jobs", "Rates"
Texts = list[str] | None


@dataclass(frozen=True)
class ExportOptions:
    """Options as typed; None where not given."""

    field: Annotated[Texts, Typed(CHOICE, "Only this field; any number.")] = None
    operation: Annotated[Texts, Typed(CHOICE, "Only operations of this name; any number.")] = None
    one_rate: Annotated[
        bool, Typed(RATES, "Plan the target rate everywhere, whatever zones need.")
    ] = False
    zone_rate: Annotated[
        Texts,
        Typed(RATES, 'Rate of a zone, "ridge=120 lb/ac"; any number, of one job on one field.'),
    ] = None
    product: Annotated[
        str | None, Typed(RATES, "Product of --zone-rate, where there are several.")
    ] = None
