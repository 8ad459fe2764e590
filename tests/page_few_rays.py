"""The page's server with as few rays as the tests trace (see conftest), started as the tool's own:

    python tests/page_few_rays.py run ui/page.py ...
"""

from __future__ import annotations

import sys
from pathlib import Path

sys.path[:0] = [str(Path(__file__).resolve().parents[1])]

import weavecolor.cli._pageserver as server  # noqa: E402  (sets the threads of linear algebra)
from weavecolor.optics.cell import filaments  # noqa: E402

if __name__ == "__main__":
    filaments.EFFORT = 0.125
    server.main()
