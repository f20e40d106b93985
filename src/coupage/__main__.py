"""``python -m coupage`` is ``coupage``."""

import sys

from coupage.cli.main import main

sys.exit(main())
