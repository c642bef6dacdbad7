#!/usr/bin/env python3
"""Django's command line. On a machine where nothing is set up yet, `shopdesk/bootstrap.py` comes first.

This file keeps to syntax that any Python 3 reads, so that an old one gets a sentence and not a traceback.
"""

import os
import sys

if not (3, 11) <= sys.version_info[:2] <= (3, 13):
    sys.stderr.write(
        "Shopdesk needs Python 3.11, 3.12 or 3.13, and this is Python %d.%d. Run it with one of those, "  # noqa: UP031
        "for example: python3.12 manage.py demo\n" % sys.version_info[:2]
    )
    sys.exit(2)

if __name__ == "__main__":
    from pathlib import Path

    from shopdesk import bootstrap

    bootstrap.prepare(Path(__file__).resolve().parent, sys.argv)
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shopdesk.settings")

    from django.conf import settings
    from django.core.exceptions import ImproperlyConfigured
    from django.core.management import execute_from_command_line

    try:
        settings.INSTALLED_APPS  # noqa: B018  reads the settings
    except ImproperlyConfigured as fault:  # a sentence for whoever set the variables
        sys.stderr.write("%s\n" % fault)  # noqa: UP031
        sys.exit(2)
    execute_from_command_line(sys.argv)
