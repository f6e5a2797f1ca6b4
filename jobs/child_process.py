"""A process of its own for a file from elsewhere, which can be wrong in any way: with little memory
and time, it alone ends when the file is a bomb. Standard library only."""

import resource
import subprocess
import sys
from pathlib import Path

TOP = Path(__file__).resolve().parent.parent


def run_apart(module: str, content: bytes, *, seconds: int) -> "subprocess.CompletedProcess[bytes]":
    """What became of `python -m` with this module, which reads the content.

    Raises
    ------
    TimeoutError
        If it takes longer.
    """
    try:
        return subprocess.run(  # noqa: S603 - a module of ours
            [sys.executable, "-m", module],
            cwd=TOP,
            input=content,
            capture_output=True,
            timeout=seconds,
            check=False,
        )
    except subprocess.TimeoutExpired as error:
        raise TimeoutError(f"{module} took more than {seconds} s.") from error


def limit_this_process(*, address_bytes: int, cpu_seconds: int) -> None:
    """For the child. Of the address space libraries map some hundred million bytes."""
    resource.setrlimit(resource.RLIMIT_AS, (address_bytes, address_bytes))
    resource.setrlimit(resource.RLIMIT_CPU, (cpu_seconds, cpu_seconds))
