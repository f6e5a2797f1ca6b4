"""Recovery codes: written on paper for the day on which the telephone is gone.

Each is 80 random bits in base32 (RFC 4648, 6: no 0, 1, 8, 9). So many cannot be searched through,
so a plain SHA-256 with the person's number is enough, and a code opens the account even after the
key of the installation was changed.
"""

import base64
import hashlib
import secrets

CODES_AT_ONCE = 10
CODE_BYTES = 10
GROUP = 4
LOOKALIKES = str.maketrans({"0": "O", "1": "I", "8": "B"})


def new_recovery_codes() -> list[str]:
    """As they are shown: `abcd-efgh-ijkl-mnop`."""
    return [group_code(secrets.token_bytes(CODE_BYTES)) for _ in range(CODES_AT_ONCE)]


def group_code(content: bytes) -> str:
    text = base64.b32encode(content).decode().lower()
    return "-".join(text[start : start + GROUP] for start in range(0, len(text), GROUP))


def hash_recovery_code(code: str, *, person: int) -> str:
    """What is kept of it; capitals, spaces and hyphens do not count, nor does 0 typed for O."""
    plain = "".join(filter(str.isalnum, code)).upper().translate(LOOKALIKES)
    return hashlib.sha256(f"{person}/{plain}".encode()).hexdigest()
