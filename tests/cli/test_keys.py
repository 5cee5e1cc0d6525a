"""Keys on a real pseudo-terminal: taken one by one, not shown, and the terminal left as it was."""

import os
import pty
import termios

from sniff.cli.keys import Keys


def test_keys_come_without_enter_and_the_terminal_is_as_before() -> None:
    master, terminal = pty.openpty()
    try:
        before = termios.tcgetattr(terminal)
        with Keys(terminal) as keys:
            assert keys.listening
            assert keys.pressed() == ""
            os.write(master, b" lT4")
            assert keys.pressed() == " lT4"
            assert not termios.tcgetattr(terminal)[3] & termios.ECHO
        assert not keys.listening
        assert termios.tcgetattr(terminal) == before
    finally:
        os.close(master)
        os.close(terminal)


def test_where_there_is_no_terminal_no_key_is_ever_pressed() -> None:
    reading, writing = os.pipe()
    try:
        os.write(writing, b"q")
        with Keys(reading) as keys:
            assert not keys.listening
            assert keys.pressed() == ""
    finally:
        os.close(reading)
        os.close(writing)
