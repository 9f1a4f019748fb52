"""A certificate authority of one laptop, which can vouch for private addresses and `.local` names and nothing else.

    root      signs the issuer once; its key is thrown away in the same breath. Phones install this certificate.
    issuer    signs the server's certificates; its key lies in the data folder, for its user alone
    server    the addresses of now; lives a week

Both carry name constraints, critical (RFC 5280, 4.2.1.10). That a verifier applies those of the root itself is not
required (RFC 5280, 6.1.1 d); those of the issuer are always applied. So whoever steals the issuer's key can pretend to
be a machine of some private network and no site of the internet. Constraints limit names of hosts and addresses only;
phones that install the root should trust it for web sites and nothing else, as they do by default.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric.ec import SECP256R1, EllipticCurvePrivateKey, generate_private_key
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    PublicFormat,
    load_pem_private_key,
)
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from api.access.addresses import PRIVATE, Address
from api.ledger.store import PRIVATE_FILE, make_private, set_aside, write_synced

FOLDER = "access"
"""Folder in the data folder; in no backup and no export."""

ROOT_FILE, ISSUER_FILE, SERVER_FILE = "authority.pem", "issuer.pem", "server.pem"

AUTHORITY_LIFE = dt.timedelta(days=3650)
SERVER_LIFE = dt.timedelta(days=7)
RENEW_BEFORE = dt.timedelta(days=3)
"""A server's certificate is made anew when less of its life is left."""

BACKDATED = dt.timedelta(hours=1)
"""How far a phone's clock may be behind the laptop's."""

ZONES = ("local", "localhost")
"""Names that the authority may vouch for: RFC 6762, 3 and RFC 6761, 6.3."""


def _name(words: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, words)])


def _constraints() -> x509.NameConstraints:
    zones = [x509.DNSName(zone) for zone in ZONES]
    return x509.NameConstraints([*zones, *(x509.IPAddress(network) for network in PRIVATE)], None)


def _usage(*, signs: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not signs,
        key_cert_sign=signs,
        crl_sign=signs,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        encipher_only=False,
        decipher_only=False,
    )


def _begun(
    subject: x509.Name, issuer: x509.Name, key: EllipticCurvePrivateKey, now: dt.datetime, life: dt.timedelta
) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - BACKDATED)
        .not_valid_after(now + life)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
    )


def _authority(builder: x509.CertificateBuilder, below: int) -> x509.CertificateBuilder:
    return (
        builder.add_extension(x509.BasicConstraints(ca=True, path_length=below), critical=True)
        .add_extension(_usage(signs=True), critical=True)
        .add_extension(_constraints(), critical=True)
    )


def _short(key: EllipticCurvePrivateKey) -> str:
    """Give four hex digits that tell one laptop's authority from another's."""
    spki = key.public_key().public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo)
    return hashlib.sha256(spki).hexdigest()[:4]


def _pem(key: EllipticCurvePrivateKey) -> bytes:
    return key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())


@dataclass(frozen=True)
class ServerCertificate:
    """A server's certificate as it lies on disk.

    Attributes:
        path: Key, certificate and the issuer's, PEM.
        names: Host names that it is for.
        addresses: Addresses that it is for.
        ends: When it ends.
    """

    path: Path
    names: tuple[str, ...]
    addresses: tuple[Address, ...]
    ends: dt.datetime

    def is_due(self, addresses: Iterable[Address], now: dt.datetime) -> bool:
        """Tell whether another one is needed: for other addresses, or since this one ends soon."""
        return set(self.addresses) != set(addresses) or self.ends - now < RENEW_BEFORE


class Authority:
    """The authority of one data folder."""

    def __init__(
        self, folder: Path, root: x509.Certificate, issuer: x509.Certificate, key: EllipticCurvePrivateKey
    ) -> None:
        """Use `open_authority`."""
        self.folder = folder
        self.root = root
        self._issuer = issuer
        self._key = key

    @property
    def host_name(self) -> str:
        """The name by which this laptop is found on the local network."""
        return f"ohmtrail-{_short(self._key)}.local"

    @property
    def fingerprint(self) -> str:
        """SHA-256 of the root certificate, as phones show it: pairs of hex digits."""
        digest = self.root.fingerprint(hashes.SHA256()).hex().upper()
        return " ".join(digest[at : at + 2] for at in range(0, len(digest), 2))

    def root_der(self) -> bytes:
        """Give the root certificate as phones install it."""
        return self.root.public_bytes(Encoding.DER)

    def issue(self, addresses: Sequence[Address], now: dt.datetime) -> ServerCertificate:
        """Make a server's certificate, with a key of its own.

        Args:
            addresses: The addresses that it is for; all private.
            now: The present instant.

        Raises:
            FileNotWritten: The disk is full or refuses.
        """
        key = generate_private_key(SECP256R1())
        names = (self.host_name, "localhost")
        others: list[x509.GeneralName] = [x509.DNSName(name) for name in names]
        others += [x509.IPAddress(address) for address in addresses]
        built = (
            _begun(_name(self.host_name), self._issuer.subject, key, now, SERVER_LIFE)
            .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
            .add_extension(_usage(signs=False), critical=True)
            .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
            .add_extension(x509.SubjectAlternativeName(others), critical=False)
            .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(self._key.public_key()), critical=False)
            .sign(self._key, hashes.SHA256())
        )
        path = self.folder / SERVER_FILE
        parts = (_pem(key), built.public_bytes(Encoding.PEM), self._issuer.public_bytes(Encoding.PEM))
        write_synced(path, b"".join(parts), PRIVATE_FILE)
        return ServerCertificate(path, names, tuple(addresses), built.not_valid_after_utc)


def _made(folder: Path, now: dt.datetime, owner: str) -> Authority:
    root_key, key = generate_private_key(SECP256R1()), generate_private_key(SECP256R1())
    root_name = _name(f"Ohmtrail on {owner} ({_short(key)})"[:64])
    root = _authority(_begun(root_name, root_name, root_key, now, AUTHORITY_LIFE), 1).sign(root_key, hashes.SHA256())
    of_root = x509.AuthorityKeyIdentifier.from_issuer_public_key(root_key.public_key())
    begun = _begun(_name(f"Ohmtrail issuer ({_short(key)})"), root_name, key, now, AUTHORITY_LIFE)
    issuer = _authority(begun, 0).add_extension(of_root, critical=False).sign(root_key, hashes.SHA256())
    # The issuer first: a root without its issuer would be installed on phones for nothing.
    write_synced(folder / ISSUER_FILE, _pem(key) + issuer.public_bytes(Encoding.PEM), PRIVATE_FILE)
    write_synced(folder / ROOT_FILE, root.public_bytes(Encoding.PEM), PRIVATE_FILE)
    return Authority(folder, root, issuer, key)


def _read(folder: Path, now: dt.datetime) -> Authority | None:
    """Read the authority; None where there is none, where it is damaged, or where it ends before a server's would."""
    try:
        root = x509.load_pem_x509_certificate((folder / ROOT_FILE).read_bytes())
        kept = (folder / ISSUER_FILE).read_bytes()
        issuer, key = x509.load_pem_x509_certificate(kept), load_pem_private_key(kept, None)
        issuer.verify_directly_issued_by(root)
    except (OSError, ValueError, TypeError, InvalidSignature):
        return None
    is_pair = isinstance(key, EllipticCurvePrivateKey) and key.public_key() == issuer.public_key()
    if not is_pair or issuer.not_valid_after_utc - now < SERVER_LIFE:
        return None
    assert isinstance(key, EllipticCurvePrivateKey)
    return Authority(folder, root, issuer, key)


def open_authority(data: Path, now: dt.datetime, owner: str) -> tuple[Authority, bool]:
    """Open the authority of a data folder; one that is missing, damaged or at its end is made anew.

    Args:
        data: The data folder.
        now: The present instant.
        owner: Name of this machine, for people.

    Returns:
        The authority, and whether it is new, so that every phone must install it.

    Raises:
        FileNotWritten: The disk is full or refuses.
    """
    folder = data / FOLDER
    make_private(folder)
    found = _read(folder, now)
    if found is not None:
        return found, False
    for name in (ROOT_FILE, ISSUER_FILE):
        if (folder / name).exists():
            set_aside(folder / name)
    return _made(folder, now, owner), True
