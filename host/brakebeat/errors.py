"""What can go wrong, in words for the person at the keyboard, with the exit code that goes with it."""


class BrakebeatError(Exception):
    """Something that the user can mend. The message names the file, line or field, what was wrong, what to do."""

    exit_code = 2


class InputError(BrakebeatError):
    """A file, a field or a call was wrong (exit code 2)."""


class DeviceError(BrakebeatError):
    """A board, an adapter or a link failed (exit code 3)."""

    exit_code = 3


def reason(error: Exception) -> str:
    """Why a file cannot be read, for the brackets of a message that names the file."""
    if isinstance(error, UnicodeDecodeError):
        return "it is not UTF-8 text"
    return getattr(error, "strerror", None) or str(error)


def unreadable(name: object, error: Exception) -> InputError:
    """What to say of a file, ``name``, that cannot be opened or read."""
    return InputError(f"{name}: cannot be read ({reason(error)}); check the name and the rights")
