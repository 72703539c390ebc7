"""The ground of an audited field that can be worked."""

from __future__ import annotations

from shapely.geometry.base import BaseGeometry

from evenacre.geo.overlay import union, without
from evenacre.model.audit_result import AuditResult


def layer_ground(result: AuditResult, layer: str) -> BaseGeometry:
    """All of a layer as one geometry, in the working plane."""
    return union(result.layers[layer].geometry.to_numpy())


def workable_ground(result: AuditResult) -> BaseGeometry:
    """The field without its unworkable ground, in the working plane."""
    return without(layer_ground(result, "field"), layer_ground(result, "unworkable"))
