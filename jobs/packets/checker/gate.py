"""First file of the archive: says which Python is needed, in words that every Python since 2.7 can read."""

import runpy
import sys

if sys.version_info < (3, 11):  # noqa: UP036 - the archive is started by whatever Python is there
    words = "This checker needs Python 3.11 or newer; this is Python %d.%d.\n"
    sys.stderr.write(words % sys.version_info[:2])
    sys.exit(2)
runpy.run_module("command", run_name="__main__")
