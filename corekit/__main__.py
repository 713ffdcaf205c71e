"""`python -m corekit`: the same as the command `corekit`."""

import sys

from .cli import main

sys.exit(main())
