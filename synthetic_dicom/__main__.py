"""Run the command line: ``python -m synthetic_dicom FOLDER``."""

import sys

from synthetic_dicom.cli import main

if __name__ == "__main__":
    sys.exit(main())
