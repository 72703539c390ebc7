"""Look for inputs that break a reader, guided by the code they reach.

    pip install atheris
    python tests/fuzz_atheris.py                         # a million cases, reader after reader
    python tests/fuzz_atheris.py csv season -runs=10000  # some readers; options of libFuzzer
    python tests/fuzz_atheris.py --merge                 # keep what reaches code of its own

It begins with the good files of ``small_files.py`` and with ``tests/corpus``, and keeps what it
finds in ``fuzz/`` (``FUZZ_FOLDER`` says otherwise): a corpus and the faults of each reader, each
with its traceback. A fault does not end it, but one of a kind is kept; a hang of more than 30 s
or more than 2 GB does. The exit code is 1 when there are faults.
"""

from __future__ import annotations

import hashlib
import importlib
import logging
import os
import pkgutil
import subprocess
import sys
import tempfile
import traceback
import warnings
from contextlib import nullcontext
from pathlib import Path
from random import Random

import atheris

WITHIN = "--within"
_watched = atheris.instrument_imports(include=["evenacre"]) if WITHIN in sys.argv else nullcontext()

with _watched:
    from accidents import spoil
    from corpus import corpus_of, write_corpus
    from fuzzed_readers import READERS, prepare

    import evenacre.io

    # Some are imported when they are first needed; brought in here they are watched too.
    for _module in pkgutil.walk_packages(evenacre.io.__path__, "evenacre.io."):
        importlib.import_module(_module.name)

HOME = Path(os.environ.get("FUZZ_FOLDER", "fuzz"))
OURS = Path(evenacre.io.__file__).parent
TIMES_THE_SUITE = 150
LIMITS = ["-timeout=30", "-rss_limit_mb=2048", "-print_final_stats=1", "-verbosity=1"]
MERGE = ["-set_cover_merge=1", "-use_counters=0"]


def main() -> int:
    named = [word for word in sys.argv[1:] if word in READERS]
    options = [word for word in sys.argv[1:] if word.startswith("-") and word != "--merge"]
    faulty = False
    for name in named or READERS:
        faults = HOME / name / "faults"
        faults.mkdir(parents=True, exist_ok=True)
        found = corpus_folder(name)
        command = [sys.executable, __file__, WITHIN, name]
        if "--merge" in sys.argv:
            with tempfile.TemporaryDirectory() as least:
                subprocess.run([*command, *MERGE, *options, least, found], check=True)
                keep(name, Path(least))
            continue
        runs = f"-runs={TIMES_THE_SUITE * READERS[name].cases}"  # unless options say otherwise
        ended = subprocess.run([*command, runs, *options, found], check=False).returncode
        kept = sorted(file.name for file in faults.iterdir())
        print(f"== {name}: ended with {ended}; faults: {', '.join(kept) or 'none'}", flush=True)
        faulty |= bool(kept or ended)
    return int(faulty)


def corpus_folder(name: str) -> Path:
    """What was found so far, with the good files and the corpus that is kept."""
    folder = HOME / name / "corpus"
    folder.mkdir(parents=True, exist_ok=True)
    for content in READERS[name].seeds() + corpus_of(name):
        (folder / hashlib.sha1(content).hexdigest()).write_bytes(content)
    return folder


def keep(name: str, least: Path) -> None:
    contents = sorted((file.read_bytes() for file in least.iterdir()), key=lambda c: (len(c), c))
    write_corpus(name, contents)
    print(f"== {name}: {len(contents)} files kept")


def fuzz(name: str, more: list[str]) -> None:
    """Fuzz one reader in this process, which ends here."""
    warnings.simplefilter("ignore")
    logging.disable(logging.CRITICAL)
    reader, faults = READERS[name], HOME / name / "faults"
    longest = max(map(len, reader.seeds()))
    own = [f"-max_len={max(2048, 3 * longest // 2)}", f"-artifact_prefix={faults}/"]
    with tempfile.TemporaryDirectory(prefix="evenacre-fuzz-") as temporary:
        place = Path(temporary)
        prepare(place)

        def read(content: bytes) -> None:
            try:
                reader.try_out(content, place)
            except Exception as error:
                note(error, content, faults, reader.kind)

        def mutate(content: bytes, most: int, seed: int) -> bytes:
            chance = Random(seed)
            if chance.random() < 0.25:
                return bytes(atheris.Mutate(content, most))
            fresh = spoil(content, chance, reader.kind)
            return fresh if len(fresh) <= most else content

        # A merge starts this program again, by the words of its own command.
        again = f"{sys.executable} {__file__} {WITHIN} {name}"
        atheris.Setup([again, *LIMITS, *own, *more], read, custom_mutator=mutate)
        atheris.Fuzz()


def note(error: Exception, content: bytes, folder: Path, ending: str) -> None:
    """Keep the first input of a kind of fault."""
    frames = traceback.extract_tb(error.__traceback__)
    own = [frame for frame in frames if Path(frame.filename).is_relative_to(OURS)] or frames
    kind = f"{type(error).__name__}-{Path(own[-1].filename).stem}-{own[-1].lineno}"
    file = folder / f"{kind}.{ending}"
    if not file.exists():
        file.write_bytes(content)
        file.with_suffix(".txt").write_text("".join(traceback.format_exception(error)))
        print(f"== fault: {kind}", flush=True)


if __name__ == "__main__":
    if sys.argv[1:2] == [WITHIN]:
        fuzz(sys.argv[2], sys.argv[3:])
    sys.exit(main())
