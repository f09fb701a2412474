"""Adds the libraries that pages bring to a reader's browser to a bill of materials: ``browser_libraries.py BILL``.

Their names and versions stand at the head of the script itself, which is kept among the assets; what comes with a
Python package, as the plotting script does, is listed as that package.
"""

import hashlib
import json
import re
import sys
from pathlib import Path

SCRIPT = Path(__file__).parents[1] / "dashboards" / "assets" / "write-excel-file.min.js"


def components() -> list[dict[str, object]]:
    """The kept script and the library inside it, as CycloneDX 1.6 components."""
    content = SCRIPT.read_bytes()
    head = content[: content.index(b"*/")].decode()
    found = re.findall(r"^(?:/\*! |It contains )([a-z-]+) ([\d.]+)$", head, re.MULTILINE)
    (name, version), *inside = found
    sha256 = [{"alg": "SHA-256", "content": hashlib.sha256(content).hexdigest()}]
    return [
        {**_component(name, version), "hashes": sha256, "components": [_component(*one) for one in inside]}
    ]


def _component(name: str, version: str) -> dict[str, object]:
    url = f"pkg:npm/{name}@{version}"
    licenses = [{"license": {"id": "MIT"}}]
    return {
        "type": "library",
        "bom-ref": url,
        "name": name,
        "version": version,
        "licenses": licenses,
        "purl": url,
    }


if __name__ == "__main__":
    bill = Path(sys.argv[1])
    told = json.loads(bill.read_text(encoding="utf-8"))
    told["components"] += components()
    bill.write_text(json.dumps(told, indent=2, sort_keys=True) + "\n", encoding="utf-8")
