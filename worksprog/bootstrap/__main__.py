"""``python3 -m worksprog.bootstrap COMMAND``: check the Python first, then do what is asked."""

import sys

if sys.version_info < (3, 11):  # noqa: UP036 - an older Python is exactly who must be told
    found = ".".join(str(part) for part in sys.version_info[:3])
    sys.stderr.write(
        "worksprog needs Python 3.11 or newer; this is Python " + found + ".\n"
        "Install a newer one and name it, for example: make demo PYTHON=python3.12\n"
    )
    raise SystemExit(1)

from worksprog.bootstrap.commands import main

raise SystemExit(main(sys.argv[1:]))
