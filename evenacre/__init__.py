"""Evenacre: an exact account of seeded and fertilized ground.

The names below load when first used, so that the command line answers at once.
"""

from importlib import import_module
from typing import Any

__version__ = "0.1.0"

_HOMES = {
    "Application": "evenacre.model",
    "Audit": "evenacre.workflows.audit",
    "AuditResult": "evenacre.model.audit_result",
    "Blockage": "evenacre.model",
    "ComeOutEven": "evenacre.workflows.finish",
    "Drive": "evenacre.planning.passes.pass_types",
    "Field": "evenacre.model",
    "Finding": "evenacre.model.finding",
    "Grazing": "evenacre.model",
    "Implement": "evenacre.model",
    "InputError": "evenacre.errors",
    "Interseeding": "evenacre.workflows.interseed",
    "Measured": "evenacre.model.measured",
    "MeasuredDrill": "evenacre.workflows.measure",
    "MeterSetting": "evenacre.workflows.calibrate",
    "Operation": "evenacre.model",
    "PlannedPasses": "evenacre.workflows.passes",
    "Product": "evenacre.model",
    "RateSoFar": "evenacre.workflows.finish",
    "Season": "evenacre.model",
    "Seeding": "evenacre.model",
    "Settings": "evenacre.model",
    "TowedUnit": "evenacre.model",
    "Track": "evenacre.model",
    "audit": "evenacre.api.calls",
    "audit_operation": "evenacre.coverage.audit",
    "audit_season": "evenacre.workflows.audit",
    "calibrate": "evenacre.api.calls",
    "finish": "evenacre.api.calls",
    "interseed": "evenacre.api.calls",
    "interseed_season": "evenacre.workflows.interseed",
    "load_season": "evenacre.io.season.load",
    "measure": "evenacre.api.calls",
    "plan_interseeding": "evenacre.planning.interseeding.plan",
    "plan_passes": "evenacre.api.calls",
    "read_tracks": "evenacre.io.logs.read_tracks",
    "tracks_from_geodataframe": "evenacre.api.arguments",
    "tracks_to_geodataframe": "evenacre.api.arguments",
}

__all__ = ["__version__", *_HOMES]


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'evenacre' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
