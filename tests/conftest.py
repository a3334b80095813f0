"""What holds for every test: no downloads, repeatable examples."""

from __future__ import annotations

from astropy.utils import iers
from hypothesis import settings

# pytest-socket closes the network; astropy must not even try, nor complain that its tables grow old
iers.conf.auto_download = False
iers.conf.auto_max_age = None

settings.register_profile("repeatable", derandomize=True, deadline=None, max_examples=100)
settings.load_profile("repeatable")
