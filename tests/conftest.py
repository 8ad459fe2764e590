"""For all tests: drawn examples have no deadline, since the machine may be busy with other work."""

from hypothesis import settings

settings.register_profile("any machine", deadline=None)
settings.load_profile("any machine")
