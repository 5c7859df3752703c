"""What holds for every test: properties are not timed."""

from __future__ import annotations

from hypothesis import settings

# A busy machine, or a library that loads on first use, is no failure of the property.
settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")
