"""Cautions to print, each only where it applies."""

from __future__ import annotations

from evenacre.model.audit_result import AuditResult


def cautions(result: AuditResult) -> list[str]:
    """Cautions that this operation calls for."""
    kinds = set(result.layers["skips"]["kind"])
    fertilizer = any(any(kg > 0 for kg in p.nutrients_kg.values()) for p in result.products)
    unlabelled = [p for p in result.products if not p.nutrients_kg]
    out = []
    if "blocked rows" in kinds:
        out.append(
            "Unhook or clear a plugged line only with the fan stopped and the pressure gone. "
            "Keep hands out of the metering rolls and off chains while someone cranks."
        )
    if unlabelled:
        out.append(
            "If any of this was treated seed: it is not feed, and its label may forbid grazing "
            "for a time."
        )
    if any(p.setbacks for p in result.products):
        out.append(
            "Product landed inside a setback. Check what local rules ask of you now, and keep "
            "the next load back from wells, drains and open water."
        )
    elif fertilizer:
        out.append("Keep fertilizer back from wells, drains and open water as local rules say.")
    if kinds and result.products:
        out.append(
            "Going back over a missed strip puts a second rate on whatever lies beside it: set "
            "the width or the sections before you drive in."
        )
    if result.products:
        out.append(
            "Follow the label and local code. Soil tests and licensed advice come before rates."
        )
    return out
