"""Write what Evenacre needs at run time as a CycloneDX bill of materials.

``python tools/sbom.py PYTHON FILE`` lists what is installed for that interpreter and the map
library that the package itself carries; equal environments give equal bytes. The result is held
against the CycloneDX schema.
"""

from __future__ import annotations

import hashlib
import json
import re
import subprocess
import sys
from pathlib import Path

from cyclonedx.schema import SchemaVersion
from cyclonedx.validation.json import JsonStrictValidator

ROOT = Path(__file__).parents[1]
_VERSION = SchemaVersion.V1_6


def main(python: str, out: Path) -> None:
    asking = [sys.executable, "-m", "cyclonedx_py", "environment", python, "--output-reproducible"]
    asking += ["--pyproject", str(ROOT / "pyproject.toml"), "--mc-type", "application"]
    asking += ["--spec-version", _VERSION.to_version(), "--output-format", "JSON"]
    bill = json.loads(subprocess.run(asking, check=True, capture_output=True).stdout)
    leaflet = _leaflet()
    bill["components"].append(leaflet)
    bill["dependencies"].append({"ref": leaflet["bom-ref"]})
    root = bill["metadata"]["component"]["bom-ref"]
    (ours,) = [d for d in bill["dependencies"] if d["ref"] == root]
    ours["dependsOn"] = sorted([*ours["dependsOn"], leaflet["bom-ref"]])
    text = json.dumps(bill, indent=2, sort_keys=True) + "\n"
    error = JsonStrictValidator(_VERSION).validate_str(text)
    if error is not None:
        raise SystemExit(f"not a CycloneDX document: {error}")
    out.parent.mkdir(parents=True, exist_ok=True)
    out.write_text(text, encoding="utf-8")


def _leaflet() -> dict[str, object]:
    script = (ROOT / "evenacre/reports/leaflet/leaflet.js").read_bytes()
    version = re.search(rb"Leaflet (\S+),", script)
    assert version is not None
    purl = f"pkg:npm/leaflet@{version[1].decode()}"
    return {
        "bom-ref": purl,
        "type": "library",
        "name": "leaflet",
        "version": version[1].decode(),
        "purl": purl,
        "licenses": [{"license": {"id": "BSD-2-Clause"}}],
        "hashes": [{"alg": "SHA-256", "content": hashlib.sha256(script).hexdigest()}],
    }


if __name__ == "__main__":
    main(sys.argv[1], Path(sys.argv[2]))
