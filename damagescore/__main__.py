"""Entry of `python -m damagescore`."""

import sys

from damagescore.cli import main

sys.exit(main())
