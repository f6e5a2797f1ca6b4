"""Photographs and documents as files under MEDIA_ROOT; static files under names of their
contents."""

import contextlib
import errno
from pathlib import Path
from typing import Any

from django.core.files.storage import FileSystemStorage
from whitenoise.storage import CompressedManifestStaticFilesStorage

# no room on the disk, no room in the quota, the disk does not answer
NO_ROOM = {errno.ENOSPC, errno.EDQUOT, errno.EIO}


class WholeFiles(FileSystemStorage):
    """A file is there whole or not at all: what a full disk cut off does not stay."""

    def _save(self, name: str, content: Any) -> str:
        try:
            return str(super()._save(name, content))  # type: ignore[misc]
        except OSError as error:
            if error.errno in NO_ROOM:
                with contextlib.suppress(OSError):
                    Path(self.path(name)).unlink(missing_ok=True)
            raise


class ModuleStaticFiles(CompressedManifestStaticFilesStorage):  # type: ignore[misc]
    """The imports of our script modules lead to such names, too, so that parts of two releases
    never meet on one phone."""

    support_js_module_import_aggregation = True
