"""Property tests look for new examples at a desk, and repeat the same ones in CI."""

from __future__ import annotations

import os

from hypothesis import settings

# A submission must not fail by an example that has nothing to do with it; a desk run finds those.
settings.register_profile("ci", derandomize=True, print_blob=True)
settings.load_profile("ci" if os.environ.get("CI") else "default")
