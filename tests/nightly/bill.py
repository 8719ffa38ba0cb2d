"""Check a bill of materials (CycloneDX JSON) against its schema and against pyproject.toml.

Run by tests/nightly.sh with the Python that has the package cyclonedx-bom: bill.py FILE
"""

import json
import re
import sys
import tomllib
from pathlib import Path

from cyclonedx.schema import SchemaVersion
from cyclonedx.validation.json import JsonStrictValidator


def main(path: str) -> str | None:
    """Return what is wrong."""
    text = Path(path).read_text("utf-8")
    bill = json.loads(text)
    version = SchemaVersion.from_version(bill["specVersion"])
    fault = JsonStrictValidator(version).validate_str(text)
    if fault is not None:
        return f"{path} is not valid CycloneDX {bill['specVersion']}: {fault}"
    project = tomllib.loads(Path("pyproject.toml").read_text("utf-8"))["project"]
    named = {plain(re.split(r"[<>=!~\[; ]", line)[0]) for line in project["dependencies"]}
    lacking = named - {plain(part["name"]) for part in bill["components"]}
    if lacking:
        return f"{path} does not name {', '.join(sorted(lacking))}"
    print(f"{len(bill['components'])} components, valid CycloneDX {bill['specVersion']}")
    return None


def plain(name: str) -> str:
    """Name of a package as PyPI compares it."""
    return re.sub(r"[-_.]+", "-", name).lower()


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
