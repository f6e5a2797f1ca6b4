"""What every process loads: nothing that only a print, a plan of the season or learning needs."""

import json
import os
import subprocess
import sys

# as measured on 30 November 2026, resident: WeasyPrint with its fonts 43 MB, pypdf 29 MB,
# scipy.optimize and scipy.spatial with what they load 25 MB
LOADED_BY_WHO_NEEDS_IT = ["weasyprint", "fontTools", "pypdf", "scipy.optimize", "scipy.spatial"]
LIST_LOADED = """
import json, sys
import django
django.setup()
import restorer.urls
print(json.dumps(sorted(sys.modules)))
"""


def test_what_only_a_print_a_plan_or_learning_needs_is_loaded_by_whoever_needs_it() -> None:
    listed = subprocess.run(
        [sys.executable, "-c", LIST_LOADED],
        env=os.environ | {"DJANGO_SETTINGS_MODULE": "restorer.settings"},
        capture_output=True,
        check=True,
    )

    loaded = set(json.loads(listed.stdout))

    assert "numpy" in loaded
    assert sorted(loaded.intersection(LOADED_BY_WHO_NEEDS_IT)) == []
