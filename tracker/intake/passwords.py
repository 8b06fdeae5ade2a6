"""Which passwords are refused. Length and a block list, no rules about kinds of characters.

Source of the lengths and of "no composition rules": NIST SP 800-63B-4, from memory.
"""

from __future__ import annotations

import re

SHORTEST = 15
LONGEST = 200
LEFT_OVER = 8  # characters that must remain when known words are taken out
FEWEST_KINDS = 6  # different characters

# Words a guesser tries first: common passwords, keyboard rows, and this trade's own. Common practice.
COMMON_WORDS = (
    *("password", "passwort", "passw0rd", "welcome", "letmein", "iloveyou", "princess", "football", "monkey"),
    *("dragon", "sunshine", "master", "admin", "administrator", "login", "secret", "changeme", "default", "please"),
    *("qwertyuiop", "qwerty", "asdfghjkl", "asdfgh", "zxcvbnm", "azerty", "1q2w3e4r", "abcdefghijklmnop", "abcdef"),
    *("01234567890", "1234567890", "123456789", "12345678", "1234567", "123456", "12345", "1234", "987654321"),
    *("washbell", "school", "toilet", "napkin", "hygiene", "cabin", "teacher", "officer", "engineer", "funder"),
    *("coordinator", "programme", "program", "demo", "ombari", "lakes", "test", "user"),
)


def complaint(password: str, about: tuple[str, ...] = ()) -> str:
    """Why a new password is refused, as a sentence that says what to do; "" when it is taken.

    Args:
        password: as typed; compared without regard to capitals, never cut or changed.
        about: the person's name, e-mail, programme: words that others know too.
    Example:
        >>> complaint("short")
        'Use at least 15 characters. Several words in a row are easy to remember.'
        >>> complaint("kettle brown harbour nine")
        ''
    """
    if len(password) < SHORTEST:
        return f"Use at least {SHORTEST} characters. Several words in a row are easy to remember."
    if len(password) > LONGEST:
        return f"Use at most {LONGEST} characters."
    if len(set(password.lower())) < FEWEST_KINDS or _left_over(password, about) < LEFT_OVER:
        return "This password is easy to guess. Use several words that have nothing to do with you or this work."
    return ""


def _left_over(password: str, about: tuple[str, ...]) -> int:
    """How many letters and digits stay when every known word is taken out."""
    known = {part for text in about for part in re.split(r"[^\w]+", text.lower()) if len(part) >= 3}
    rest = password.lower()
    for word in sorted(known | set(COMMON_WORDS), key=len, reverse=True):
        rest = rest.replace(word, "\0")
    return sum(character.isalnum() for character in rest)
