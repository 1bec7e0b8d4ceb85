"""The end of a study that the user has stopped."""


class StoppedError(Exception):
    """The user stopped the tracing."""
