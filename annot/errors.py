"""The one family of errors; each message is a sentence a reader can act on."""


class AnnotError(Exception):
    """Whatever annot refuses to do, and why.

    Parameters
    ----------
    message
        One sentence: what is wrong, in which file and frame, and what to do.
    """

    def __init__(self, message: str) -> None:
        super().__init__(message)
        self.message = message


class LoopError(AnnotError):
    """A file cannot be opened as a loop, or one of its frames cannot be decoded."""


class InputError(AnnotError):
    """Something a person supplied is at fault: a read file, a protocol, a chart, an option."""


__all__ = ["AnnotError", "InputError", "LoopError"]
