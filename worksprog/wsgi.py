"""The WSGI application that a web server loads."""

from __future__ import annotations

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "worksprog.settings")
application = get_wsgi_application()
