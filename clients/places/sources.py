"""Finds the data files inside the packages of the `data` group without running their code."""

from importlib.util import find_spec
from pathlib import Path


class MissingPackage(Exception):  # noqa: N818 - reads as a plain statement
    """A package that the build reads is not installed."""


def package_file(package: str, file: str) -> Path:
    """The path of a file that a package carries."""
    spec = find_spec(package)
    if spec is None or not spec.submodule_search_locations:
        raise MissingPackage(
            f"The package {package.replace('_', '-')} is missing: install the dependency group"
            " “data”."
        )
    path = Path(spec.submodule_search_locations[0]) / file
    if not path.exists():
        raise MissingPackage(f"The package {package.replace('_', '-')} no longer carries {file}.")
    return path
