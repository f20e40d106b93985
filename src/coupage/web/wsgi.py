"""What the server serves."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "coupage.web.settings")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as in coupage.cli.main

application = get_wsgi_application()
