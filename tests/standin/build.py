"""Build the native stand-ins with the system's C compiler."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

_FOLDER = Path(__file__).parent

SITE = _FOLDER / "site"
"""Put first on the path, this makes the wrapper load the library in STANDIN_LIBRARY."""


def compiler() -> str:
    """The C compiler; without one the test is skipped by name, and fails where CI is set."""
    for name in (os.environ.get("CC"), "cc", "gcc", "clang"):
        found = shutil.which(name) if name else None
        if found:
            return found
    missing = "no C compiler (cc, gcc, clang): the native stand-in for the dongle cannot be built"
    if os.environ.get("CI"):
        pytest.fail(missing)
    pytest.skip(missing)


def preload_works() -> None:
    """Preloading one library under another is a Linux way of doing it."""
    if not sys.platform.startswith("linux"):
        pytest.skip("the stand-in for the USB library needs LD_PRELOAD, which is Linux's")


def build(source: str, folder: Path) -> Path:
    """Compile `source` of this folder into a shared library in `folder`."""
    library = folder / f"standin_{Path(source).stem}.so"
    command = [compiler(), "-std=gnu11", "-O2", "-Wall", "-Wextra", "-Werror", "-fPIC", "-shared"]
    done = subprocess.run(
        [*command, "-o", str(library), str(_FOLDER / source), "-lm", "-lpthread"],
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode != 0:
        pytest.fail(f"{source} does not compile:\n{done.stderr}")
    return library


def environment(library: Path, **variables: object) -> dict[str, str]:
    """For a process in which the real wrapper is to load the stand-in for the driver.

    Parameters
    ----------
    library : Path
        From `rtlsdr_library`.
    **variables
        ``STANDIN_...`` without that beginning, in lower case; see rtlsdr.c.
    """
    path = os.pathsep.join((str(SITE), str(_FOLDER.parents[1])))
    wanted = {f"STANDIN_{name.upper()}": str(value) for name, value in variables.items()}
    return {**os.environ, "PYTHONPATH": path, "STANDIN_LIBRARY": str(library), **wanted}


@pytest.fixture(scope="session")
def usb_library(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The stand-in for the USB library, to be preloaded under the real packaged driver."""
    preload_works()
    return build("usb.c", tmp_path_factory.mktemp("standin"))


@pytest.fixture(scope="session")
def rtlsdr_library(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The stand-in for the dongle's driver, to be loaded by the real wrapper."""
    return build("rtlsdr.c", tmp_path_factory.mktemp("standin"))
