"""`python -m farhear` is the command line."""

import sys

from farhear.cli import main

sys.exit(main())
