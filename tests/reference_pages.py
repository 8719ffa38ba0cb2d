"""All docstrings as HTML pages, offline.

.venv/bin/python -m pip install pdoc
.venv/bin/python tests/reference_pages.py [FOLDER]     (build/reference)
"""

import pkgutil
import sys
import warnings
from pathlib import Path

import pdoc

import farhear


def main() -> None:
    """Write the pages."""
    folder = Path(sys.argv[1] if len(sys.argv) > 1 else "build/reference")
    for name in farhear.__all__:  # what is imported when it is asked for is asked for
        setattr(farhear, name, getattr(farhear, name))
    names = (one.name for one in pkgutil.walk_packages(farhear.__path__, "farhear."))
    modules = [
        name
        for name in names
        if "._" not in name
        and not name.startswith("farhear.verbs")
        and name.removeprefix("farhear.") not in farhear.__all__  # these come along
    ]
    pdoc.render.configure(docformat="numpy", search=True, show_source=False)
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Error parsing type annotation")
        pdoc.pdoc("farhear", *modules, output_directory=folder)
    print(folder / "farhear.html")


if __name__ == "__main__":
    main()
