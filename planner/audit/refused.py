"""What the auditor says where something does not hold."""

from __future__ import annotations


class Refused(Exception):
    """The document claims what is not confirmed; the message is a sentence that says what, with numbers."""
