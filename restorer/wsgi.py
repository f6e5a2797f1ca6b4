"""The entry for web servers."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "restorer.settings")
application = get_wsgi_application()
