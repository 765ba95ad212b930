"""`python -m monitor` is `so2bench`."""

import sys

from monitor.cli import main

sys.exit(main())
