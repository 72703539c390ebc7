"""Everything an audit hands over, put together from its results."""

from __future__ import annotations

from collections.abc import Sequence

from evenacre.coverage.result import AuditResult
from evenacre.deliverables import Deliverables, OperationFiles
from evenacre.model import InputFile
from evenacre.reports import figures
from evenacre.reports.document import RenderedOperation, document
from evenacre.reports.fixlist import fix_list
from evenacre.reports.layers import rasters, vector_layers
from evenacre.reports.summary import summary
from evenacre.reports.tables import tables
from evenacre.units import UnitSystem


def assemble(
    results: Sequence[AuditResult],
    rendered: Sequence[RenderedOperation],
    *,
    units: UnitSystem,
    farm: str,
    inputs: Sequence[InputFile],
    warnings: Sequence[str],
    generated: str,
    currency: str = "USD",
) -> Deliverables:
    """Build the summary, the report, the layers, tables, rasters and the fix list.

    Parameters
    ----------
    results : sequence of AuditResult
    rendered : sequence of RenderedOperation
        One a result, from :func:`evenacre.reports.document.render_operation` with keys that
        differ.
    units : UnitSystem
        Of the report, the tables and the fix list; the summary is in SI.
    farm : str
    inputs : sequence of InputFile
    warnings : sequence of str
        About the inputs as a whole.
    generated : str
        ISO 8601 time of the run; it goes into the summary and nowhere else.
    currency : str
    """
    slugs = figures.operation_slugs(results)
    return Deliverables(
        summary=summary(
            results,
            farm=farm,
            inputs=inputs,
            warnings=warnings,
            generated=generated,
            currency=currency,
        ),
        report=document(rendered, farm=farm, inputs=inputs, warnings=warnings),
        layers=vector_layers(results),
        tables=tables(results, units, currency=currency),
        fix_list=fix_list(results, units),
        operations=tuple(
            OperationFiles(slug, rasters(result), page.maps)
            for slug, result, page in zip(slugs, results, rendered, strict=True)
        ),
    )
