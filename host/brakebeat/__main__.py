"""``python -m brakebeat`` is the ``brakebeat`` command."""

import sys

from brakebeat.cli import main

sys.exit(main())
