"""Passphrases as the people file keeps them: salted scrypt, never the words themselves."""

from __future__ import annotations

import base64
import hashlib
import hmac
import secrets

SHORTEST, LONGEST = 8, 256
# 32 MiB and three passes: the least that the OWASP password storage cheat sheet gives for N = 2^15 (from memory)
COST, BLOCK, PASSES = 2**15, 8, 3
MOST_MEMORY = 256 * 2**20


class PassphraseError(ValueError):
    """The passphrase cannot be used. `str()` is one line and does not hold the passphrase."""


def hashed(passphrase: str, *, names: tuple[str, ...] = (), cost: int = COST) -> str:
    """`scrypt$N$r$p$salt$hash` of a passphrase. Raises PassphraseError where it is too short, too long or one of `names`."""
    if not SHORTEST <= len(passphrase) <= LONGEST:
        raise PassphraseError(f"the passphrase has {SHORTEST} to {LONGEST} characters, better a few words")
    if len(set(passphrase)) < 4 or passphrase.casefold().strip() in {name.casefold() for name in names}:
        raise PassphraseError(
            "the passphrase is too easily guessed: not the name, and not one character again and again"
        )
    salt = secrets.token_bytes(16)
    return "$".join(["scrypt", str(cost), str(BLOCK), str(PASSES), _text(salt), _text(_derive(passphrase, salt, cost))])


def right(passphrase: str, kept: str | None) -> bool:
    """Whether a passphrase is the one kept. Takes as long where nothing is kept, so that time tells no names."""
    if kept is None:
        _derive(passphrase[:LONGEST], b"nobody of this name", COST)
        return False
    _, cost, block, passes, salt, expected = parts(kept)
    given = _derive(passphrase[: LONGEST + 1], salt, cost, block, passes)
    return hmac.compare_digest(given, expected)


def parts(kept: str) -> tuple[str, int, int, int, bytes, bytes]:
    """The fields of a kept passphrase. Raises PassphraseError where it is none."""
    wrong = PassphraseError("is not a passphrase as `loaftrace person add` keeps it; add the person again")
    fields = kept.split("$")
    if len(fields) != 6 or fields[0] != "scrypt":
        raise wrong
    try:
        cost, block, passes = (int(field) for field in fields[1:4])
        salt, expected = (base64.b64decode(field, validate=True) for field in fields[4:])
    except ValueError:
        raise wrong from None
    sound = cost >= 2 and cost & (cost - 1) == 0 and 1 <= block <= 32 and 1 <= passes <= 16
    if not sound or 128 * cost * block > MOST_MEMORY or len(salt) < 8 or len(expected) != 32:
        raise wrong
    return "scrypt", cost, block, passes, salt, expected


def _derive(passphrase: str, salt: bytes, cost: int, block: int = BLOCK, passes: int = PASSES) -> bytes:
    words = passphrase.encode("utf-8", "surrogatepass")
    return hashlib.scrypt(words, salt=salt, n=cost, r=block, p=passes, maxmem=2 * MOST_MEMORY, dklen=32)


def _text(raw: bytes) -> str:
    return base64.b64encode(raw).decode("ascii")
