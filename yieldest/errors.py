"""The one exception for bad input: one sentence on the command line, and exit code 2."""


class InputError(ValueError):
    """Something the user gave cannot be used.

    The message is one plain sentence: the file, line or key; what was found; what was expected;
    how to mend it. What can be pasted to mend it, if anything can, is shown below the sentence.
    """

    def __init__(self, message: str, to_paste: str = "") -> None:
        # What is quoted from a file may hold ends of lines, of which Unicode has ten.
        super().__init__(" ".join(message.split()))
        self.to_paste = to_paste
