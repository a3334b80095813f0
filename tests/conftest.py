"""What holds for every test: no downloads, repeatable examples, no settings of whoever runs them."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import astropy_iers_data
import pytest
from astropy.utils import iers
from hypothesis import settings

from tests.browser import Browser
from tests.commands import SAMPLES

# pytest-socket closes the network; astropy must not even try, nor complain that its tables grow old
iers.conf.auto_download = False
iers.conf.auto_max_age = None

settings.register_profile("repeatable", derandomize=True, deadline=None, max_examples=100)
settings.load_profile("repeatable")


@pytest.fixture(scope="session", autouse=True)
def _bundled_earth_rotation() -> Iterator[None]:
    """Old and new astropy look up the Earth's rotation in the same bundled table, predictions included."""
    with iers.earth_orientation_table.set(iers.IERS_A.open(astropy_iers_data.IERS_A_FILE)):
        yield


@pytest.fixture(scope="session", autouse=True)
def _no_settings_of_the_user(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """No rig file of the user's is found, neither here nor (where the system goes by this variable) in processes
    that a test starts.
    """
    nowhere = tmp_path_factory.mktemp("no_settings")

    def configuration_folder() -> Path:
        """Return an empty folder."""
        return nowhere

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("polarcheck.rig.finding.configuration_folder", configuration_folder)
        patch.setenv("XDG_CONFIG_HOME", str(nowhere))
        yield


@pytest.fixture(scope="session", autouse=True)
def _terminal_of_80_columns() -> Iterator[None]:
    """Texts are as wide as most terminals, wherever the tests run."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("COLUMNS", "80")
        yield


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """One browser for all tests that need one; mark these with `needs_browser`."""
    with Browser() as started:
        yield started


@pytest.fixture(scope="session", autouse=True)
def _sample_frames_keep_no_night() -> Iterator[None]:
    """No test finds beside the sample frames what another one did with them."""
    samples = (Path(__file__).parents[1] / "sample_frames", SAMPLES.resolve())

    def may_be_kept(folder: Path) -> bool:
        """Return whether a night may begin there."""
        here = folder.resolve()
        return folder.is_dir() and not any(here.is_relative_to(sample) for sample in samples)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("polarcheck.cli.night_asking.may_be_kept", may_be_kept)
        yield
