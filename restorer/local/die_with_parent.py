"""Becomes another program that the kernel ends once the process that started it is gone.

Run as a file with the number of that process and the command, in an interpreter of its own:
between fork and exec of a process with threads nothing of Python may run (`subprocess`,
preexec_fn). Standard library only.
"""

import ctypes
import os
import signal
import sys

PR_SET_PDEATHSIG = 1  # linux/prctl.h; kept over execve (prctl(2))


def main() -> None:
    parent, *command = sys.argv[1:]
    ctypes.CDLL(None).prctl(PR_SET_PDEATHSIG, signal.SIGTERM)
    if os.getppid() != int(parent):  # it went while we came up
        sys.exit(1)
    os.execv(command[0], command)  # noqa: S606 - no shell is meant


if __name__ == "__main__":
    main()
