"""Data folders with the demo roastery, for the commands that work on an installation."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

LOAD = """
import datetime, django
django.setup()
from django.core.management import call_command
call_command("migrate", verbosity=0)
from coupage.web.demo.load import load_demo
load_demo(today=datetime.date(2026, 3, 1))
from django.contrib.sessions.models import Session
from django.utils import timezone
Session.objects.create(session_key="open", session_data="x", expire_date=timezone.now())
"""


@pytest.fixture(scope="session")
def furnished(tmp_path_factory) -> Path:
    """A data folder with the demo roastery in SQLite; not to be changed."""
    folder = tmp_path_factory.mktemp("furnished")
    environment = {**os.environ, "COUPAGE_DATA": str(folder)}
    environment["DJANGO_SETTINGS_MODULE"] = "coupage.web.settings"
    environment.pop("COUPAGE_DATABASE", None)
    subprocess.run([sys.executable, "-c", LOAD], env=environment, check=True)
    return folder


@pytest.fixture
def home(furnished, tmp_path) -> Path:
    """A data folder of one's own with the demo roastery."""
    return Path(shutil.copytree(furnished, tmp_path / "home"))
