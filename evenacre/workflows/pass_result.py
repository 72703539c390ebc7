"""What results with passes to drive have in common."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Sequence
from functools import cached_property

import geopandas as gpd

from evenacre.model.outputs import PassFiles
from evenacre.planning.passes.pass_types import PassPlan
from evenacre.reports.maps.pass_layers import pass_files
from evenacre.workflows.result import FolderResult


class PassResult(FolderResult):
    """A finished job that lays out passes to drive."""

    @property
    def passes(self) -> gpd.GeoDataFrame:
        """Rounds and passes, EPSG:4326, in the order and direction they are driven."""
        return self._files.layers["passes"]

    @property
    def turns(self) -> gpd.GeoDataFrame:
        """The turns between them, EPSG:4326."""
        return self._files.layers["turns"]

    @property
    @abstractmethod
    def _driven(self) -> Sequence[PassPlan]:
        """The passes of each field."""

    @cached_property
    def _files(self) -> PassFiles:
        return pass_files(self._driven)
