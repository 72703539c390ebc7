"""Whether this checkout writes the same bytes as an earlier commit, over a set of commands.

``python tools/same_outputs.py COMMIT`` runs every job below with both, on the sample farm, and
lists what differs: files, and what was printed. Names of jobs after it run those alone, and the
demo, which makes the farm. What the commit wrote is kept in ``build/same``.
"""

from __future__ import annotations

import filecmp
import os
import shlex
import shutil
import subprocess
import sys
from collections.abc import Collection
from pathlib import Path

HERE = Path(__file__).parent.parent
KEPT = HERE / "build" / "same"
JOBS = """
demo: demo three-larks
check: check {season}
audit-metric: audit {season} --units metric --plan {plan} --geoparquet --out metric
audit-json: audit {field} --product 18-46-0 --rate "110 lb/ac" --json --out json
audit-log: audit {field} --product 18-46-0 --rate "110 lb/ac" --price "840 USD/ton" \\
    --product 0-0-60 --rate "80 lb/ac" --price "510 USD/ton" --out log
audit-bare: audit --tracks {log} --width "6 m" --out bare
interseed-metric: interseed {season} --units metric --out plan-metric
interseed-json: interseed {season} --json --out plan-json
passes: passes {season} --out passes
passes-metric: passes {season} --units metric --json --out passes-metric
export: export {season} --out export.zip
calibrate: calibrate {catch} --target "110 lb/ac"
calibrate-json: calibrate {catch} --target "130 kg/ha" --units metric --json
lookup: calibrate --lookup --product 18-46-0 --target "105 lb/ac"
lookup-json: calibrate --lookup --product 18-46-0 --target "105 lb/ac" --json
openers: calibrate --product 18-46-0 --setting 40 --no-book --area "100 sq ft" --rows 32 \\
    --opener-catch "22.6 22.4 22.0 23.1 g" --opener-catch "22.1 22.9 21.8 22.7 g" \\
    --width "20 ft" --openers 4 --target "100 lb/ac"
finish: finish --area "18 ac" {left}
finish-json: finish --area "7 ha" --left "860 kg" --rate "125 kg/ha" --units metric --json
finish-log: finish {field} --product 18-46-0 {left} --out finish
finish-log-json: finish {field} --product 18-46-0 {left} --json
missing: audit missing.toml
bad-width: audit --tracks {log} --width "6 lb"
""".format(
    season="three-larks/season.toml",
    plan="three-larks/evenacre-plan/plan.json",
    log="three-larks/logs/orchard-fertilizer.csv",
    field=(
        "--boundary three-larks/fields.gpkg --boundary-layer boundaries"
        ' --boundary-where "name=Orchard Piece" --tracks three-larks/logs/orchard-fertilizer.csv'
        " --width 20ft --rows 32"
    ),
    catch='--product 18-46-0 --setting 42 --catch "10.2 10.4 10.3 lb" --area "0.1 ac"',
    left='--left "1900 lb" --rate "110 lb/ac"',
)


def run_jobs(code: Path, into: Path, chosen: Collection[str] = ()) -> None:
    """Run jobs with the package of a checkout; everything they wrote goes into a folder."""
    # Results name the folders they were made in, so both versions work in the same one.
    work = KEPT / "work"
    shutil.rmtree(work, ignore_errors=True)
    work.mkdir(parents=True)
    shutil.rmtree(into, ignore_errors=True)
    environment = {
        **os.environ,
        "PYTHONPATH": str(code),
        "EVENACRE_CACHE": "off",
        "SOURCE_DATE_EPOCH": "1780000000",
        "NO_COLOR": "1",
        "COLUMNS": "120",
    }
    for line in JOBS.replace("\\\n", "").strip().splitlines():
        name, _, arguments = line.partition(": ")
        if chosen and name not in {"demo", *chosen}:
            continue
        command = [sys.executable, "-m", "evenacre", *shlex.split(arguments)]
        done = subprocess.run(command, cwd=work, env=environment, capture_output=True, check=False)
        print(f"{into.name}: {name}: exit {done.returncode}", flush=True)
        (work / f"{name}.stdout").write_bytes(done.stdout)
        (work / f"{name}.stderr").write_bytes(done.stderr + b"exit %d\n" % done.returncode)
    work.rename(into)


def differences(compared: filecmp.dircmp[str]) -> list[str]:
    """Paths that are in one folder only, or hold other bytes."""
    only = [f"only before: {Path(compared.left, n)}" for n in compared.left_only]
    only += [f"only now: {Path(compared.right, n)}" for n in compared.right_only]
    _, unequal, odd = filecmp.cmpfiles(
        compared.left, compared.right, compared.common_files, shallow=False
    )
    below = [line for sub in compared.subdirs.values() for line in differences(sub)]
    return only + [f"differs: {Path(compared.right, n)}" for n in (*unequal, *odd)] + below


def main(commit: str, *chosen: str) -> int:
    """Compare with a commit; 1 when something differs."""
    name = subprocess.check_output(["git", "rev-parse", "--short", commit], cwd=HERE, text=True)
    before, now = KEPT / name.strip(), KEPT / "now"
    if not before.exists():
        code = KEPT / "code"
        shutil.rmtree(code, ignore_errors=True)
        code.mkdir(parents=True)
        archive = subprocess.Popen(["git", "archive", commit], cwd=HERE, stdout=subprocess.PIPE)
        subprocess.run(["tar", "-x", "-C", str(code)], stdin=archive.stdout, check=True)
        run_jobs(code, before)
    run_jobs(HERE, now, chosen)
    found = differences(filecmp.dircmp(before, now))
    if chosen:
        found = [line for line in found if not line.startswith("only before")]
    print("\n".join(found) or f"the same bytes as {commit}")
    return bool(found)


if __name__ == "__main__":
    raise SystemExit(main(*sys.argv[1:]))
