from __future__ import annotations

from collections.abc import Iterator

import pytest
from django.urls import clear_url_caches


@pytest.fixture
def pages(settings: pytest.FixtureRequest) -> Iterator[None]:
    """Use the addresses of ``urls.py`` beside this file."""
    settings.ROOT_URLCONF = "tests.web.common.urls"  # type: ignore[attr-defined]
    clear_url_caches()
    yield
    clear_url_caches()
