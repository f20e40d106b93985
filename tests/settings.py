"""The program's settings on throw-away data: never the data of whoever runs the tests."""

import atexit
import os
import shutil
import tempfile

_folder = tempfile.mkdtemp(prefix="coupage-tests-")
atexit.register(shutil.rmtree, _folder, ignore_errors=True)
os.environ["COUPAGE_DATA"] = _folder

from coupage.web.settings import *  # noqa: E402, F403

# Argon and PBKDF2 are slow on purpose; tests sign in hundreds of times.
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
WHITENOISE_AUTOREFRESH = True

if DATABASES["default"]["ENGINE"].endswith("sqlite3"):  # noqa: F405
    # A file, as in the program: an in-memory database locks by other rules.
    DATABASES["default"]["TEST"] = {"NAME": f"{_folder}/tests.sqlite3"}  # noqa: F405
