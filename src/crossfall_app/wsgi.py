"""The door for web servers: ``crossfall_app.wsgi:application``."""

from __future__ import annotations

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "crossfall_app.settings")

application = get_wsgi_application()
