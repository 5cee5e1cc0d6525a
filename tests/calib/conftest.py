"""Fixtures of the clock's and tuner's tests."""

from tests.standin.build import usb_library

__all__ = ["usb_library"]
