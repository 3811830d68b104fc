"""The web application, as any WSGI server starts it."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "office.settings")

application = get_wsgi_application()
