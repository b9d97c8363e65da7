"""The public surface of the package: what is promised is there, and nothing heavy loads before it is used."""

import subprocess
import sys

import pytest

import heeltap


def test_everything_that_is_promised_is_there() -> None:
    """Each public name leads to something that can be called or raised."""
    assert sorted(heeltap.__all__) == heeltap.__all__
    assert all(callable(getattr(heeltap, name)) for name in heeltap.__all__)


def test_a_wrong_name_is_an_attribute_error() -> None:
    """Lazy loading does not hide a misspelling."""
    with pytest.raises(AttributeError, match="no attribute 'read_mid'"):
        heeltap.read_mid  # noqa: B018


@pytest.mark.live
def test_importing_the_package_loads_no_numpy() -> None:
    """The command line imports the package on every start."""
    code = "import sys, heeltap; print('numpy' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert "False\n" == done.stdout
