"""Time-stamps of RFC 3161: what is asked for, and what an answer proves.

What is stamped is the canonical JSON of a signed head with its signature. The library reads and checks answers; here
stands what of it counts.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

from cryptography.x509 import Certificate, load_pem_x509_certificates

from api.ledger.canonical import canonical
from api.ledger.clock import utc_text
from api.ledger.errors import CertificatesUnreadable, TimeStampUnusable
from api.ledger.signing import SignedHead

MOST_BYTES = 100_000
"""Largest answer that is read, bytes: a signature with its certificates has some thousand."""


@dataclass(frozen=True)
class TimeStamp:
    """What an answer says.

    Attributes:
        at: When, by the clock of its maker, UTC.
        imprint: Hash of what was stamped.
        trusted: Its signature leads to a certificate that was given as trusted; None where none was given.
        why: Why not, in the library's words.
    """

    at: str
    imprint: bytes
    trusted: bool | None = None
    why: str = ""

    def is_of(self, head: SignedHead) -> bool:
        """Tell whether it stamps a head."""
        return self.imprint == hashlib.sha256(stamped(head)).digest()


def stamped(head: SignedHead) -> bytes:
    """Give the bytes of a head that are stamped."""
    return canonical(head.to_json()).encode()


def request_for(head: SignedHead) -> bytes:
    """Write the request for a time-stamp of a head (RFC 3161, 2.4.1), DER."""
    from rfc3161_client import HashAlgorithm, TimestampRequestBuilder

    builder = TimestampRequestBuilder().data(stamped(head)).hash_algorithm(HashAlgorithm.SHA256)
    return builder.nonce(nonce=True).cert_request(cert_request=True).build().as_bytes()


def read_time_stamp(answer: bytes, trusted: tuple[Certificate, ...] = ()) -> TimeStamp:
    """Read an answer (RFC 3161, 2.4.2), DER.

    Args:
        answer: As the server gave it.
        trusted: Certificates that its signature may lead to.

    Raises:
        TimeStampUnusable: It is none, or says that none was made.
    """
    from rfc3161_client import PKIStatus, VerificationError, VerifierBuilder, decode_timestamp_response

    try:
        if len(answer) > MOST_BYTES:
            raise ValueError("it is too large")
        response = decode_timestamp_response(answer)
        granted = PKIStatus(response.status) in (PKIStatus.GRANTED, PKIStatus.GRANTED_WITH_MODS)
        if not granted:
            raise ValueError(f"the server did not grant it: {', '.join(response.status_string) or response.status}")
        info = response.tst_info
        at, imprint = utc_text(info.gen_time), bytes(info.message_imprint.message)
    except ValueError as error:
        raise TimeStampUnusable(cause=str(error).strip(".")) from None
    if not trusted:
        return TimeStamp(at, imprint)
    try:
        # What it stamps is compared by `is_of`; here its signature, purpose and chain of certificates count.
        VerifierBuilder(roots=[*trusted]).build().verify(response, imprint)
    except (VerificationError, ValueError) as error:
        return TimeStamp(at, imprint, trusted=False, why=str(error))
    return TimeStamp(at, imprint, trusted=True)


def read_certificates(path: Path) -> tuple[Certificate, ...]:
    """Read certificates that are trusted, PEM.

    Raises:
        CertificatesUnreadable: There are none.
    """
    try:
        return tuple(load_pem_x509_certificates(path.read_bytes()))
    except (OSError, ValueError) as error:
        raise CertificatesUnreadable(file=str(path), cause=str(error)) from None
