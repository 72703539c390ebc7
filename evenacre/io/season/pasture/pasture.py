"""Check a season's pasture tables: grazing, and seeding behind the herd."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from evenacre.io.season.files import SeasonFiles
from evenacre.io.season.pasture.grazing import GrazingBuilder
from evenacre.io.season.pasture.paddocks import Paddocks
from evenacre.io.season.pasture.plausibility import grazing_doubts, seeding_doubts
from evenacre.io.season.pasture.seeding import seeding_of
from evenacre.io.season.schema import SeasonTable
from evenacre.model import Field, Grazing, Implement, Product, Seeding


@dataclass(frozen=True)
class Pasture:
    """What a season says of grazing and of seeding behind the herd.

    Attributes
    ----------
    grazing : Grazing or None
    seeding : Seeding or None
        None: not told, or something was complained about.
    paddocks : tuple of str
        Names, whether or not they could be made.
    fields : tuple of Field
        Of the paddocks that could be made.
    map_warnings : tuple of str
        What was found where they are drawn; among ``warnings`` too.
    warnings : tuple of str
    """

    grazing: Grazing | None = None
    seeding: Seeding | None = None
    paddocks: tuple[str, ...] = ()
    fields: tuple[Field, ...] = ()
    map_warnings: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()


def has_pasture(top: SeasonTable) -> bool:
    """Whether a season says anything of grazing or of seeding behind the herd."""
    single = (top.paddocks, top.grazing, top.seeding)
    return any(table is not None for table in single) or bool(top.paddock or top.herd or top.move)


def pasture_of(
    top: SeasonTable,
    files: SeasonFiles,
    fields: Mapping[str, Field | None],
    implements: Mapping[str, Implement | None],
    products: Mapping[str, Product | None],
    *,
    seeded: bool = False,
) -> Pasture:
    """Check the pasture tables of a season and make what can be made of them.

    Parameters
    ----------
    top : SeasonTable
    files : SeasonFiles
        Its complaints are told of all that is wrong.
    fields, implements, products : mapping
        By name. One that could not be made is None: it is already complained about.
    seeded : bool
        True when paddocks and seeding have to be told.
    """
    complaints = files.complaints
    if seeded and top.seeding is None:
        complaints.add(
            ("seeding",),
            "What to seed behind the herd is not told.",
            "Add [seeding] with product, implement and rate.",
        )
    if not has_pasture(top):
        return Pasture()
    before = len(complaints.problems)
    builder = GrazingBuilder(top, files)
    made, paddocks = builder.build(fields)
    grazing = None if len(complaints.problems) > before else made
    warnings = [*paddocks.warnings, *builder.warnings]
    seeding = None
    if top.seeding is not None:
        seeding, said = seeding_of(top.seeding, implements, products, complaints)
        warnings += said
        _check_any_seeded(paddocks, files)
    if grazing is not None:
        warnings += grazing_doubts(grazing)
    if seeding is not None:
        warnings += seeding_doubts(seeding, grazing)
    return Pasture(
        grazing=grazing,
        seeding=seeding,
        paddocks=tuple(paddocks.made),
        fields=tuple(paddock.field for paddock in paddocks.made.values() if paddock),
        map_warnings=tuple(dict.fromkeys(paddocks.warnings)),
        warnings=tuple(dict.fromkeys(warnings)),
    )


def _check_any_seeded(paddocks: Paddocks, files: SeasonFiles) -> None:
    made = paddocks.made.values()
    if made and not any(paddock is None or paddock.seeded for paddock in made):
        files.complaints.add(
            ("seeding",), "No paddock is to be seeded.", "Take seed = false from one at least."
        )
