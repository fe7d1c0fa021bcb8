import sys

from isolate.cli import main

sys.exit(main())
