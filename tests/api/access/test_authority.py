"""The authority, judged by OpenSSL's own verifier: what it vouches for, and what its key could be abused for.

Rules: RFC 5280, 4.2.1.10 and 6.1 (name constraints). What phones ask of a certificate besides (a host's name among its
alternative names, server authentication, a life of at most 825 days) is from memory of their makers' pages.
"""

from __future__ import annotations

import datetime as dt
import ipaddress
import stat
import subprocess
import zipfile
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric.ec import (
    SECP256R1,
    EllipticCurvePrivateKey,
    EllipticCurvePublicKey,
    generate_private_key,
)
from cryptography.hazmat.primitives.serialization import Encoding, load_pem_private_key

from api.access.addresses import is_loopback, is_private
from api.access.authority import Authority, open_authority
from api.ledger.backup import back_up
from api.workspace import Workspace

NOW = dt.datetime.now(dt.UTC)
ADDRESSES = (ipaddress.ip_address("10.77.1.2"), ipaddress.ip_address("fd12::2"))


@pytest.fixture
def authority(tmp_path: Path) -> Authority:
    found, is_new = open_authority(tmp_path, NOW, "bench")
    assert is_new
    return found


def judge(folder: Path, leaf: bytes, *more: str) -> str:
    """Have OpenSSL verify a certificate that is shown together with the issuer's."""
    (folder / "leaf.pem").write_bytes(leaf)
    command = ["openssl", "verify", "-x509_strict", "-purpose", "sslserver", "-CAfile", str(folder / "authority.pem")]
    command += ["-untrusted", str(folder / "issuer.pem"), *more, str(folder / "leaf.pem")]
    found = subprocess.run(command, capture_output=True, text=True, check=False)
    return found.stdout + found.stderr


def test_its_certificates_hold_for_the_addresses_and_the_name(authority: Authority) -> None:
    issued = authority.issue(ADDRESSES, NOW)
    leaf = issued.path.read_bytes()
    for asked in (("-verify_ip", "10.77.1.2"), ("-verify_ip", "fd12::2"), ("-verify_hostname", authority.host_name)):
        assert judge(authority.folder, leaf, *asked).strip().endswith("leaf.pem: OK")
    assert "mismatch" in judge(authority.folder, leaf, "-verify_ip", "10.77.1.3")
    found = x509.load_pem_x509_certificate(leaf)
    assert found.not_valid_after_utc - NOW <= dt.timedelta(days=7)


@pytest.mark.parametrize(
    ("name", "fault"),
    [
        (x509.DNSName("bank.example"), "permitted subtree violation"),
        (x509.DNSName("local.example"), "permitted subtree violation"),
        (x509.IPAddress(ipaddress.ip_address("203.0.113.7")), "permitted subtree violation"),
        (x509.IPAddress(ipaddress.ip_address("172.32.0.1")), "permitted subtree violation"),  # just beyond RFC 1918
        (x509.IPAddress(ipaddress.ip_address("2001:db8::1")), "permitted subtree violation"),
        (x509.IPAddress(ipaddress.ip_address("192.168.7.7")), ""),
        (x509.DNSName("anything.local"), ""),
    ],
)
def test_who_steals_its_key_can_pretend_to_be_nothing_on_the_internet(
    authority: Authority, name: x509.GeneralName, fault: str
) -> None:
    kept = (authority.folder / "issuer.pem").read_bytes()
    stolen, issuer = load_pem_private_key(kept, None), x509.load_pem_x509_certificate(kept)
    issuer_key = issuer.public_key()
    assert isinstance(stolen, EllipticCurvePrivateKey)
    assert isinstance(issuer_key, EllipticCurvePublicKey)
    key = generate_private_key(SECP256R1())
    forged = (
        x509.CertificateBuilder()
        .subject_name(x509.Name([]))
        .issuer_name(issuer.subject)
        .public_key(key.public_key())
        .serial_number(7)
        .not_valid_before(NOW - dt.timedelta(hours=1))
        .not_valid_after(NOW + dt.timedelta(days=1))
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.SubjectAlternativeName([name]), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(issuer_key), critical=False)
        .sign(stolen, hashes.SHA256())
    )
    said = judge(authority.folder, forged.public_bytes(Encoding.PEM))
    assert fault in said if fault else said.strip().endswith("leaf.pem: OK"), said


def test_its_key_is_private_and_the_root_s_is_nowhere(authority: Authority, tmp_path: Path) -> None:
    authority.issue(ADDRESSES, NOW)
    assert stat.S_IMODE(authority.folder.stat().st_mode) == 0o700
    root_key = authority.root.public_key()
    for path in authority.folder.iterdir():
        assert stat.S_IMODE(path.stat().st_mode) == 0o600, path
        if b"PRIVATE KEY" in path.read_bytes():
            assert load_pem_private_key(path.read_bytes(), None).public_key() != root_key, path
    assert b"PRIVATE KEY" not in (authority.folder / "authority.pem").read_bytes()


def test_it_is_in_no_backup(tmp_path: Path) -> None:
    workspace = Workspace.open(tmp_path / "data")
    workspace.close()
    open_authority(tmp_path / "data", NOW, "bench")
    back_up(tmp_path / "data", tmp_path / "backup.zip")
    with zipfile.ZipFile(tmp_path / "backup.zip") as archive:
        assert not [name for name in archive.namelist() if "access" in name or name.endswith(".pem")]
        assert b"PRIVATE KEY" not in b"".join(archive.read(name) for name in archive.namelist())


def test_it_stays_until_it_is_damaged_or_at_its_end(tmp_path: Path) -> None:
    first, _ = open_authority(tmp_path, NOW, "bench")
    again, is_new = open_authority(tmp_path, NOW, "bench")
    assert (again.fingerprint, again.host_name, is_new) == (first.fingerprint, first.host_name, False)
    _, is_new = open_authority(tmp_path, NOW + dt.timedelta(days=3649), "bench")
    assert is_new, "it would end before a server's certificate"
    (tmp_path / "access" / "issuer.pem").write_bytes(b"torn")
    third, is_new = open_authority(tmp_path, NOW, "bench")
    assert is_new
    assert third.fingerprint != first.fingerprint
    assert list((tmp_path / "access").glob("issuer.pem.damaged-*")), "what lay there is set aside"


def test_a_certificate_is_due_for_other_addresses_and_in_time(authority: Authority) -> None:
    issued = authority.issue(ADDRESSES, NOW)
    assert not issued.is_due(reversed(ADDRESSES), NOW)
    assert issued.is_due(ADDRESSES[:1], NOW)
    assert not issued.is_due(ADDRESSES, NOW + dt.timedelta(days=3))
    assert issued.is_due(ADDRESSES, NOW + dt.timedelta(days=5))


def test_which_addresses_are_private() -> None:
    # RFC 1918, 3 and RFC 4193, 3.1: first and last of each block, and the neighbours.
    inside = ("10.0.0.0", "10.255.255.255", "172.16.0.0", "172.31.255.255", "192.168.255.255", "fdff::1", "169.254.9.9")
    outside = ("9.255.255.255", "11.0.0.0", "172.15.255.255", "172.32.0.0", "192.169.0.0", "fe00::1", "100.64.0.1")
    assert [is_private(ipaddress.ip_address(one)) for one in inside] == [True] * len(inside)
    assert [is_private(ipaddress.ip_address(one)) for one in outside] == [False] * len(outside)
    assert [is_loopback(one) for one in ("127.0.0.1", "::1", "::ffff:127.0.0.1", "127.9.9.9")] == [True] * 4
    assert [is_loopback(one) for one in ("10.0.0.1", "::", "localhost", "", None, "127.0.0.1.example")] == [False] * 6
