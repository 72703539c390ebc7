"""Finished operations, kept for later runs of the same inputs by the same software.

They lie in the user's own folder and never beside a season, which may come from a stranger.
Whoever can write to that folder can run anything as its user anyway, so ownership is what is
checked; a secret kept in the same folder would protect nothing more.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TypeVar

import pyarrow as pa

from evenacre.io.cache.entries import KeptEntries, PlaceRefusedError, open_kept_entries
from evenacre.io.cache.fingerprint import Stamp, files_digest, software_digest, stamps, zone_digest
from evenacre.io.cache.plain_form import NotPlainError, pack, unpack
from evenacre.language import tr
from evenacre.model import OperationPlan

T = TypeVar("T")

_LENGTH_BYTES = 8


@dataclass(frozen=True)
class Claim:
    """The name under which one operation is kept, worked out before its files are read.

    Attributes
    ----------
    name : str
        Digest of everything the operation hangs on.
    entries : KeptEntries
    files : tuple of Path
    seen : dict of Path to tuple
        How the files, and what is read along with them, looked when they were digested.
    """

    name: str
    entries: KeptEntries
    files: tuple[Path, ...]
    seen: dict[Path, Stamp]

    def holds(self) -> bool:
        """Tell whether no file has changed since."""
        try:
            return stamps(self.files) == self.seen
        except OSError:
            return False

    def kept(self) -> bool:
        """Tell whether the operation is there for a later run."""
        return self.entries.has(self.name)

    def take(self, kind: type[T]) -> T | None:
        """Return the operation as an earlier run finished it, if one did."""
        data = self.entries.get(self.name)
        if data is None:
            return None
        try:
            length = int.from_bytes(data[:_LENGTH_BYTES], "big")
            plain = _packer().decompress(data[_LENGTH_BYTES:], length, asbytes=True)
            found = unpack(plain, kind)
        except (ValueError, LookupError, TypeError, OSError):
            return None
        return found if isinstance(found, kind) else None

    def keep(self, finished: object) -> None:
        """Keep a finished operation, unless its files changed meanwhile or the disk refuses."""
        with suppress(NotPlainError, OSError):
            plain = pack(finished)
            data = len(plain).to_bytes(_LENGTH_BYTES, "big") + _packer().compress(
                plain, asbytes=True
            )
            if self.holds():
                self.entries.put(self.name, data)


@dataclass(frozen=True)
class FinishedWork:
    """What earlier runs finished, and where this one keeps what it finishes.

    Attributes
    ----------
    entries : KeptEntries or None
        None: nothing is taken or kept.
    trouble : str
        Why, where that is no wish of the user's.
    """

    entries: KeptEntries | None
    trouble: str = ""

    @classmethod
    def open(cls) -> FinishedWork:
        """Open the user's folder; a run goes on without it where that cannot be."""
        try:
            return cls(open_kept_entries())
        except PlaceRefusedError as error:
            return cls(None, tr("warning: finished operations are not kept: {error}", error=error))

    def claim(self, plan: OperationPlan, *asked: str) -> Claim | None:
        """Name an operation by all that its result hangs on.

        Parameters
        ----------
        plan : OperationPlan
        *asked : str
            What else shapes the result: key, units, currency, language.

        Returns
        -------
        Claim or None
            None when it cannot be told, so that nothing is taken or kept.
        """
        if self.entries is None:
            return None
        tickets = () if plan.ticket_file is None else (plan.ticket_file,)
        files = (*plan.track_files, *plan.blockage_files, *tickets)
        # Files count by their names and bytes, wherever their folder lies.
        bare = replace(plan, track_files=(), blockage_files=(), ticket_file=None)
        roles = (len(plan.track_files), len(plan.blockage_files), plan.ticket_file is None)
        try:
            seen = stamps(files)
            made_of = pack((bare, roles, asked)), files_digest(files)
            if stamps(files) != seen:
                return None
        except (NotPlainError, OSError):
            return None
        whole = hashlib.sha256(software_digest() + zone_digest(plan.time_zone))
        for part in made_of:
            whole.update(hashlib.sha256(part).digest())
        return Claim(whole.hexdigest(), self.entries, files, seen)

    def together(self, claims: Sequence[Claim | None], asked: object) -> Claim | None:
        """Name what hangs on several operations, and on what else was asked.

        Returns
        -------
        Claim or None
            None when an operation cannot be told, or the rest not be named.
        """
        if self.entries is None:
            return None
        try:
            whole = hashlib.sha256(software_digest())
            whole.update(hashlib.sha256(pack(asked)).digest())
        except NotPlainError:
            return None
        files: tuple[Path, ...] = ()
        seen: dict[Path, Stamp] = {}
        for claim in claims:
            if claim is None:
                return None
            whole.update(claim.name.encode())
            files, seen = files + claim.files, seen | claim.seen
        return Claim(whole.hexdigest(), self.entries.below("results"), files, seen)

    def remarks(self, claims: Sequence[Claim | None], taken: int) -> Iterator[str]:
        """Say how much was taken from earlier runs, and what a later one will not find.

        Parameters
        ----------
        claims : sequence of Claim or None
            Of every operation of the run, which is over.
        taken : int
            Operations that were not computed.
        """
        if self.trouble:
            yield self.trouble
        if taken:
            yield tr(
                "{taken} of {count} operations were taken from an earlier run; --fresh computes "
                "all.",
                taken=taken,
                count=len(claims),
            )
        lost = sum(claim is None or not claim.kept() for claim in claims)
        if self.entries is not None and lost:
            yield tr(
                "{lost} of {count} could not be kept for later in {folder}.",
                lost=lost,
                count=len(claims),
                folder=self.entries.folder,
            )


def _packer() -> pa.Codec:
    return pa.Codec("zstd", compression_level=1)
