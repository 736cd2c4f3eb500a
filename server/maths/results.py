"""What a calculation answers when it cannot answer: a value with its reason."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Undetermined:
    """Cannot say, as a value.

    Parameters
    ----------
    reason : str
        One sentence for a person: what is missing, how much of it there is and how much is needed.

    Examples
    --------
    >>> Undetermined("12 of 30 values needed").reason
    '12 of 30 values needed'
    """

    reason: str
