"""For all tests: drawn examples have no deadline, since the machine may be busy with other work;
and one thread of linear algebra, as in the tool itself."""

import os

from hypothesis import settings

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

settings.register_profile("any machine", deadline=None)
settings.load_profile("any machine")
