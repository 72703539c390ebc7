"""``evenacre county``: many farms at once, into one data set."""

from __future__ import annotations

import os
from typing import Annotated

import typer

from evenacre.cli.options.progress import counted, tell_lines
from evenacre.cli.options.shared import BAD_INPUT, AsJson, Quiet, plain_errors


def county(
    farms: Annotated[
        str,
        typer.Argument(help="Folder of farms' folders, or a list of them (.txt), by path or URL."),
    ],
    out: Annotated[str, typer.Option("--out", help="New folder for the data set; path or URL.")],
    cluster: Annotated[
        str | None,
        typer.Option("--cluster", help="Address of a dask scheduler; workers here without."),
    ] = None,
    jobs: Annotated[
        int, typer.Option("--jobs", min=0, help="Workers here without --cluster; 0: all cores.")
    ] = 0,
    results: Annotated[
        bool, typer.Option("--results", help="Write each farm's own result folder too.")
    ] = False,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Audit the seasons of many farms on a cluster, into one GeoParquet data set with an index.

    A farm that fails is told and stands in nobody's way. Needs the extra "cluster".
    """
    with plain_errors():
        from evenacre.workflows.county import INDEX, audit_county

        with counted("looking for farms", quiet=quiet or as_json) as show:
            found = audit_county(
                farms,
                out,
                cluster=cluster,
                workers=jobs or os.cpu_count() or 1,
                results=results,
                progress=show,
            )
        closing = f"Every job: {out.rstrip('/')}/{INDEX}"
        tell_lines(found.summary, [*found.lines, closing], as_json=as_json, quiet=quiet)
        if found.failed and len(found.failed) == len(found.jobs):
            raise typer.Exit(BAD_INPUT)
