"""The bill of materials beside the wheel names every pinned library with its hashes, as its schema asks."""

import hashlib
import json
import re
import subprocess
import sys
from pathlib import Path

from cyclonedx.schema import SchemaVersion
from cyclonedx.validation.json import JsonStrictValidator

ROOT = Path(__file__).parents[2]
SCRIPT = ROOT / "dashboards" / "assets" / "write-excel-file.min.js"


def test_every_pinned_library_is_in_the_bill_of_materials(tmp_path: Path) -> None:
    """Schema: CycloneDX 1.6, as shipped by the format's own library."""
    recipe = (ROOT / "Makefile").read_text()
    said = re.search(r"cyclonedx-py (requirements .*?) 2>/dev/null", recipe, re.DOTALL)
    assert said is not None
    words = said[1].replace("\\\n", " ").split()
    made = tmp_path / "bill.json"
    words[words.index("--output-file") + 1] = str(made)
    command = [str(Path(sys.executable).with_name("cyclonedx-py")), *words]
    assert subprocess.run(command, cwd=ROOT, capture_output=True, timeout=120).returncode == 0
    added = [sys.executable, ROOT / ".ci" / "browser_libraries.py", made]
    assert subprocess.run(added, capture_output=True, timeout=60).returncode == 0
    text = made.read_text()
    assert JsonStrictValidator(SchemaVersion.V1_6).validate_str(text) is None
    pinned = dict(
        re.findall(r"^([a-z0-9._-]+)==([^ ;]+)", (ROOT / "requirements.txt").read_text(), re.MULTILINE)
    )
    listed = {one["name"]: one for one in json.loads(text)["components"]}
    of_pages = listed.pop("write-excel-file")
    assert [one["purl"] for one in (of_pages, *of_pages["components"])] == [
        "pkg:npm/write-excel-file@4.1.1",
        "pkg:npm/fflate@0.8.2",
    ]
    assert of_pages["hashes"][0]["content"] == hashlib.sha256(SCRIPT.read_bytes()).hexdigest()
    assert {name: one["version"] for name, one in listed.items()} == pinned
    assert len(pinned) > 50
    for one in listed.values():
        assert any(place.get("hashes") for place in one["externalReferences"]), one["name"]
