"""Which dongles are here, which one is meant, and why there is none."""

import os
from pathlib import Path

import pytest

from sniff.errors import SourceError
from sniff.sources.dongle import list_dongles, why_none
from sniff.sources.dongle.devices import find_dongle
from sniff.sources.dongle.library import load_driver
from tests.sources.dongle.conftest import Standin


def test_a_listing_tells_serial_tuner_range_and_gains_and_leaves_the_dongle_closed(
    standin: Standin,
) -> None:
    standin.set(count=2, serials="00000001,BENCH7")
    first, second = list_dongles()
    assert (first.index, first.serial, second.index, second.serial) == (0, "00000001", 1, "BENCH7")
    assert first.tuner == "R820T"
    assert first.range_hz is not None
    assert first.range_hz[0] == pytest.approx(26.06e6, rel=0.02)
    assert first.gains_db[:3] == (0.0, 0.9, 1.4)  # 29 steps to 49.6 dB: the driver's table
    assert (len(first.gains_db), first.gains_db[-1]) == (29, 49.6)
    assert first.trouble is None
    assert standin.ask("open_handles") == 0


@pytest.mark.parametrize(
    ("tuner", "name", "gains"),
    [
        ("r828d", "R828D", 29),
        ("v4", "R828D", 29),
        ("e4000", "E4000", 14),
        ("fc0012", "FC0012", 5),
        ("fc0013", "FC0013", 23),
        ("none", "direct sampling", 0),
    ],
)
def test_each_tuner_is_listed_by_name(standin: Standin, tuner: str, name: str, gains: int) -> None:
    standin.set(tuner=tuner)
    (listing,) = list_dongles()
    assert (listing.tuner, len(listing.gains_db)) == (name, gains)


def test_without_a_dongle_the_list_is_empty(standin: Standin) -> None:
    standin.set(count=0)
    assert list_dongles() == ()


@pytest.mark.parametrize(
    ("code", "words"), [(-6, "another program has it"), (-3, "may not use it"), (-1, "not answer")]
)
def test_a_dongle_that_cannot_be_opened_is_listed_with_its_trouble(
    standin: Standin, monkeypatch: pytest.MonkeyPatch, code: int, words: str
) -> None:
    standin.set(open=code)
    (listing,) = list_dongles()
    assert listing.tuner is None
    assert listing.trouble is not None
    assert words in listing.trouble


@pytest.mark.parametrize(("wanted", "index"), [("BENCH7", 1), ("7", 2), ("0", 0), ("1", 1)])
def test_a_dongle_is_meant_by_serial_first_and_by_number_then(
    standin: Standin, wanted: str, index: int
) -> None:
    standin.set(count=3, serials="00000001,BENCH7,7")
    assert find_dongle(load_driver(), wanted, name="dongle")[0] == index


@pytest.mark.parametrize(
    ("serials", "wanted", "words"),
    [
        ("A,B", None, "several dongles"),
        ("A,A", "A", "several dongles"),
        ("A,B", "C", "no dongle is called so; there are 0 .serial A., 1 .serial B."),
        ("A,B", "2", "no dongle is called so"),
    ],
)
def test_a_choice_that_is_not_one_is_refused_with_the_choices(
    standin: Standin, serials: str, wanted: str | None, words: str
) -> None:
    standin.set(count=2, serials=serials)
    with pytest.raises(SourceError, match=words):
        find_dongle(load_driver(), wanted, name="dongle")


def _usb_tree(root: Path, *, product: str = "2838", driver: str | None = None) -> tuple[Path, Path]:
    """What Linux shows of one device on the USB."""
    devices, nodes = root / "devices", root / "nodes"
    device = devices / "1-2"
    device.mkdir(parents=True)
    for name, text in {
        "idVendor": "0bda",
        "idProduct": product,
        "busnum": "1",
        "devnum": "14",
    }.items():
        (device / name).write_text(f"{text}\n")
    interface = devices / "1-2:1.0"
    interface.mkdir()
    if driver:
        (root / driver).mkdir()
        (interface / "driver").symlink_to(root / driver)
    (nodes / "001").mkdir(parents=True)
    (nodes / "001" / "014").write_bytes(b"")
    return devices, nodes


def test_linux_tells_a_dongle_that_the_kernel_has_taken(tmp_path: Path) -> None:
    devices, nodes = _usb_tree(tmp_path, driver="dvb_usb_rtl28xxu")
    (reason,) = why_none("linux", devices, nodes)
    assert "modprobe -r dvb_usb_rtl28xxu" in reason


def test_linux_tells_a_dongle_that_this_user_may_not_use(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    devices, nodes = _usb_tree(tmp_path)
    asked = []

    def no_access(path: Path, mode: int) -> bool:
        asked.append(path)
        return False

    monkeypatch.setattr(os, "access", no_access)  # root may open everything
    (reason,) = why_none("linux", devices, nodes)
    assert asked == [nodes / "001" / "014"]
    assert "udev" in reason
    assert 'ATTRS{idVendor}=="0bda"' in reason


def test_linux_tells_a_dongle_that_is_not_there(tmp_path: Path) -> None:
    devices, nodes = _usb_tree(tmp_path, product="8153")  # a network adapter of the same maker
    assert "does not see it on the USB" in why_none("linux", devices, nodes)[-1]
    assert "does not see it on the USB" in why_none("linux", tmp_path / "none", nodes)[-1]


def test_linux_tells_a_dongle_that_is_there_and_silent(tmp_path: Path) -> None:
    devices, nodes = _usb_tree(tmp_path)
    assert why_none("linux", devices, nodes) == (
        "it is on the USB, but the driver does not see it; unplug it and plug it in again",
    )


def test_other_systems_have_reasons_of_their_own() -> None:
    assert any("WinUSB" in reason for reason in why_none("win32"))
    assert not any("udev" in reason or "WinUSB" in reason for reason in why_none("darwin"))


def test_a_wrapper_that_is_switched_off_is_told_so(
    standin: Standin, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("RTLSDR_CLIENT_MODE", "yes")
    with pytest.raises(SourceError, match="RTLSDR_CLIENT_MODE is set"):
        list_dongles()
