"""Run the command line with ``python -m leavenbench``."""

import sys

from .cli import main

sys.exit(main())
