"""Static files under names that follow their contents."""

from whitenoise.storage import CompressedManifestStaticFilesStorage


class ModuleStaticFilesStorage(CompressedManifestStaticFilesStorage):  # type: ignore[misc]
    """The imports of our script modules lead to such names, too, so that parts of two releases
    never meet on one phone."""

    support_js_module_import_aggregation = True
