"""Ask whether anything that Evenacre needs at run time has a known vulnerability.

``python tools/audit_deps.py PYTHON`` audits what is installed for that interpreter. Exit codes:
0 asked and none known, 1 one or more are known, 3 the advisories could not be asked for all.
"""

from __future__ import annotations

import json
import subprocess
import sys

OURS = "evenacre"
_PATIENCE_S = 300.0


def main(python: str) -> int:
    listing = ["uv", "pip", "list", "--quiet", "--python", python, "--format=json"]
    packages = json.loads(subprocess.run(listing, check=True, capture_output=True).stdout)
    pinned = "".join(f"{p['name']}=={p['version']}\n" for p in packages if p["name"] != OURS)
    asking = [sys.executable, "-m", "pip_audit", "--disable-pip", "--no-deps"]
    asking += ["--format=json", "--progress-spinner=off", "--requirement=/dev/stdin"]
    try:
        asked = subprocess.run(
            asking, input=pinned, capture_output=True, text=True, timeout=_PATIENCE_S
        )
    except subprocess.TimeoutExpired:
        print("NOT AUDITED: the advisory service keeps everybody waiting.")
        return 3
    try:
        answers = json.loads(asked.stdout)["dependencies"]
    except (json.JSONDecodeError, KeyError):
        print(asked.stderr, file=sys.stderr)
        print("NOT AUDITED: no answer from the advisory service.")
        return 3
    known = [(a, v) for a in answers for v in a.get("vulns", [])]
    for package, flaw in known:
        fixed = ", ".join(flaw["fix_versions"]) or "no version yet"
        print(f"{package['name']} {package['version']}: {flaw['id']}, fixed in {fixed}")
    unasked = [a["name"] for a in answers if "skip_reason" in a]
    if known:
        print(f"VULNERABLE: {len(known)} known.")
        return 1
    if unasked:
        print(f"NOT AUDITED: no answer on {len(unasked)} of {len(answers)}: {', '.join(unasked)}")
        return 3
    print(f"No known vulnerability in {len(answers)} packages.")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
