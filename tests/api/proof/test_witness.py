"""Witnesses: a time-stamping service made by openssl, another implementation of RFC 3161, and another Ohmtrail."""

from __future__ import annotations

import datetime as dt
import http.server
import json
import subprocess
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import rsa

from api.ledger.database import Database
from api.ledger.errors import TimeStampUnusable
from api.ledger.signing import SigningKey
from api.ledger.store import Store
from api.ledger.timestamps import read_certificates, request_for
from api.ledger.trail import What
from api.ledger.verification.witnesses import Outside, PrintedWords
from api.ledger.verify import verify_folder
from api.proof.errors import HeadUnreadable, PaperUnreadable, ServerSilent, WitnessUnusable
from api.proof.witness import (
    ask_server,
    give_witness,
    keep_time_stamp,
    keep_witness,
    present_head,
    read_head_text,
)
from api.proof.words import WORDS, printed_outside, qr_svg, qr_text, read_printed, words_of
from tests.api.ledger.tampering import alter, entries, rewrite
from tests.api.ledger.test_concurrency import make_job

CONFIG = """
[req]
distinguished_name=dn
prompt=no
x509_extensions=ext
[dn]
CN=Time-stamping service of the tests (invented)
[ext]
basicConstraints=critical,CA:FALSE
keyUsage=critical,digitalSignature
extendedKeyUsage=critical,timeStamping
subjectKeyIdentifier=hash
[root]
basicConstraints=critical,CA:TRUE
keyUsage=critical,keyCertSign,cRLSign
subjectKeyIdentifier=hash
[tsa]
default_tsa=one
[one]
serial=serial
signer_cert=tsa.pem
signer_key=tsa.key
signer_digest=sha256
default_policy=1.2.3.4.1
digests=sha256
ess_cert_id_alg=sha256
"""


@pytest.fixture(scope="session")
def service(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make keys and certificates of a time-stamping service and its root."""
    folder = tmp_path_factory.mktemp("tsa")
    (folder / "conf").write_text(CONFIG)
    (folder / "serial").write_text("01")
    for command in (
        "req -x509 -newkey rsa:2048 -nodes -keyout root.key -out root.pem -config conf -extensions root -days 3650",
        "req -new -newkey rsa:2048 -nodes -keyout tsa.key -out tsa.csr -config conf",
        "x509 -req -in tsa.csr -CA root.pem -CAkey root.key -CAcreateserial -out tsa.pem -extfile conf -extensions ext",
    ):
        subprocess.run(["openssl", *command.split()], cwd=folder, check=True, capture_output=True)
    return folder


def stamp(service: Path, request: bytes) -> bytes:
    """Answer a request, as the service does."""
    (service / "request").write_bytes(request)
    command = "ts -reply -config conf -section one -queryfile request -out answer"
    subprocess.run(["openssl", *command.split()], cwd=service, check=True, capture_output=True)
    return (service / "answer").read_bytes()


@pytest.fixture
def server(service: Path) -> Iterator[str]:
    """Serve time-stamps on the loopback."""

    class Handler(http.server.BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            data = self.rfile.read(int(self.headers["Content-Length"]))
            known = self.headers["Content-Type"] == "application/timestamp-query" and self.path == "/tsa"
            self.send_response(200 if known else 404)
            self.end_headers()
            self.wfile.write(stamp(service, data) if known else b"")

        def log_message(self, *_: object) -> None:
            pass

    running = http.server.HTTPServer(("127.0.0.1", 0), Handler)
    threading.Thread(target=running.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{running.server_port}/tsa"
    running.shutdown()
    running.server_close()


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    opened = Database(tmp_path / "data")
    for number in range(1, 4):
        make_job(opened, number)
    yield opened
    opened.close()


@pytest.fixture
def folder(database: Database) -> Path:
    return database.path.parent


def test_a_time_stamp_is_asked_for_kept_and_checked(
    database: Database, folder: Path, server: str, service: Path, tmp_path: Path
) -> None:
    head = present_head(database)
    evidence = Store(folder / "evidence")
    at = keep_time_stamp(database, evidence, head, ask_server(server, head))
    found = verify_folder(folder)
    assert (found.problems, found.signed) == ([], found.entries)
    assert any(f"entries 1 to {head.size} stood at {at}" in line and "not checked" in line for line in found.witnesses)
    roots = read_certificates(service / "root.pem")
    trusted = verify_folder(folder, outside=Outside(trusted=roots))
    assert trusted.problems == []
    assert not any("not checked" in line for line in trusted.witnesses)
    note = json.loads(entries(folder)[-1]["body"])["note"]
    data = tmp_path / "stamped"
    data.write_bytes(qr_text(head).encode())
    token = str(evidence.path(note["token"]))
    command = ["openssl", "ts", "-verify", "-data", str(data), "-in", token, "-CAfile", str(service / "root.pem")]
    assert subprocess.run(command, check=False, capture_output=True).returncode == 0, "openssl finds it right too"


def test_a_time_stamp_of_another_service_is_not_trusted(database: Database, folder: Path, service: Path) -> None:
    head = present_head(database)
    keep_time_stamp(database, Store(folder / "evidence"), head, stamp(service, request_for(head)))
    key, name = rsa.generate_private_key(65537, 2048), x509.Name([])
    stranger = (
        x509.CertificateBuilder().subject_name(name).issuer_name(name).public_key(key.public_key())
        .serial_number(5).not_valid_before(dt.datetime(2020, 1, 1)).not_valid_after(dt.datetime(2040, 1, 1))
        .add_extension(x509.BasicConstraints(ca=True, path_length=None), critical=True).sign(key, hashes.SHA256())
    )  # fmt: skip
    found = verify_folder(folder, outside=Outside(trusted=(stranger,)))
    assert any("does not lead to a trusted certificate" in problem for problem in found.problems)


@pytest.mark.parametrize("answer", [b"", b"nothing", b"\x30\x03\x02\x01\x00", bytes(200_000)])
def test_what_is_no_time_stamp_is_refused(database: Database, folder: Path, answer: bytes) -> None:
    before = len(entries(folder))
    with pytest.raises(TimeStampUnusable):
        keep_time_stamp(database, Store(folder / "evidence"), present_head(database), answer)
    assert len(entries(folder)) == before


def test_a_time_stamp_of_something_else_is_refused(database: Database, folder: Path, service: Path) -> None:
    first = present_head(database)
    make_job(database, 9)
    with pytest.raises(TimeStampUnusable, match="something else"):
        keep_time_stamp(
            database, Store(folder / "evidence"), present_head(database), stamp(service, request_for(first))
        )


@pytest.mark.parametrize("url", ["http://127.0.0.1:1/tsa", "ftp://127.0.0.1/tsa", "file:///etc/passwd", "nonsense"])
def test_a_server_that_does_not_answer(database: Database, url: str) -> None:
    with pytest.raises(ServerSilent):
        ask_server(url, present_head(database))


def test_a_head_is_co_signed_by_file_and_both_trails_know(database: Database, folder: Path, tmp_path: Path) -> None:
    witness = Database(tmp_path / "witness")
    head = present_head(database)
    text = give_witness(witness, read_head_text("head", qr_text(head)), "Second shop (invented)")
    witness.close()
    assert keep_witness(database, text) == head
    found, theirs = verify_folder(folder), verify_folder(tmp_path / "witness")
    assert (found.problems, theirs.problems) == ([], [])
    assert any("were seen by Second shop (invented)" in line for line in found.witnesses)
    assert json.loads(entries(tmp_path / "witness")[-1]["body"])["what"] == What.WITNESS_GIVEN.value
    for changed in (text.replace("Second", "Third"), text.replace('"size":4', '"size":3'), "{}", "nonsense"):
        with pytest.raises(WitnessUnusable):
            keep_witness(database, changed)


def test_a_trail_written_anew_with_the_key_is_found_by_what_is_outside(database: Database, folder: Path) -> None:
    head, printed = present_head(database), entries(folder)[-1]["hash"]
    database.close()
    trail = entries(folder)
    trail[2]["body"] = trail[2]["body"].replace("Job 2", "Job 7").replace("J2", "J2")
    changed = json.loads(trail[3]["body"])
    changed["at"] = "2026-01-01T00:00:00.000000Z"
    trail[3]["body"] = json.dumps(changed)
    trail[3]["at"] = changed["at"]
    rewrite(folder, trail, with_key=True)
    assert verify_folder(folder).problems == [], "with the key it passes by itself"
    assert any("holder of the key" in line for line in verify_folder(folder).beyond_proof), "and that is said"
    words = printed_outside([words_of(head.root)])
    for outside in (Outside(heads=(("the report", head),)), Outside(hashes=(printed,)), words):
        assert any("written anew" in problem for problem in verify_folder(folder, outside=outside).problems)


def test_a_tail_cut_off_with_its_head_set_back_is_found_by_what_is_outside(database: Database, folder: Path) -> None:
    head, printed = present_head(database), entries(folder)[-1]["hash"]
    database.close()
    gone = entries(folder)[-1]
    alter(folder, ("DELETE FROM job WHERE id = ?", (json.loads(gone["body"])["rows"][0]["key"],)))
    rewrite(folder, entries(folder)[:-1], with_key=True)
    assert verify_folder(folder).problems == []
    assert any("nothing was cut off" in line for line in verify_folder(folder).beyond_proof)
    cut = verify_folder(folder, outside=Outside(heads=(("the report", head),)))
    assert any("tail was cut off" in problem for problem in cut.problems)
    assert not verify_folder(folder, outside=Outside(hashes=(printed,))).intact


def test_a_head_from_outside_that_is_right(database: Database, folder: Path) -> None:
    head = present_head(database)
    make_job(database, 9)
    found = verify_folder(folder, outside=Outside(heads=(("the report", head),), hashes=(head.hash[:16],)))
    assert found.problems == []
    assert len(found.witnesses) == 2


@pytest.mark.parametrize("text", ["", "{}", "[]", "no json", '{"what":"ohmtrail tree head 1"}'])
def test_what_is_no_head(text: str) -> None:
    with pytest.raises(HeadUnreadable):
        read_head_text("x", text)


def test_a_head_with_a_signature_that_does_not_hold(database: Database) -> None:
    head = present_head(database)._replace(size=1)
    with pytest.raises(HeadUnreadable, match="does not hold"):
        read_head_text("x", qr_text(head))


def test_words_are_those_of_the_list() -> None:
    """Compare with BIP 39's first test vector: 128 zero bits begin with "abandon", all ones with "zoo"."""
    assert words_of("0" * 64) == " ".join(["abandon"] * WORDS)
    assert words_of("f" * 64) == " ".join(["zoo"] * WORDS)
    root = "7f" * 32  # vector 2 of BIP 39: "legal winner thank year wave sausage ..."
    assert words_of(root) == "legal winner thank year wave sausage"
    for typed in ("LEGAL winn than year wave saus", "12, legal  winner thank year wave sausage"):
        read = read_printed(typed)
        assert not isinstance(read, str)
        assert read.bits == int(root, 16) >> 256 - read.length
    assert isinstance(read, PrintedWords)
    assert read.entry == 12
    assert read_printed("AB" * 8) == "ab" * 8, "a hash as a report prints it"


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("legal winner thank year wave", "prints 6 words, and these are 5"),
        ("legal winner thank year wave sausige zoo", "prints 6 words, and these are 7"),
        ("legal winner thank year wave ssausage", "is it “sausage”"),
        ("legal winner thank year wave qqqqq", "“qqqqq” is none of the words"),
        ("123", "these are 0"),
        ("", "these are 0"),
    ],
)
def test_what_no_report_prints_is_refused_with_a_sentence(typed: str, said: str) -> None:
    with pytest.raises(PaperUnreadable, match=said):
        read_printed(typed)


def test_words_of_paper_are_found_at_their_entry(database: Database, folder: Path) -> None:
    head = present_head(database)
    words = words_of(head.root)
    make_job(database, 9)
    for typed in (words, f"{head.size} {words}", words.upper()):
        found = verify_folder(folder, outside=printed_outside([typed]))
        assert found.intact
        assert any(f"found at entry {head.size}:" in sentence for sentence in found.witnesses)
    wrong = verify_folder(folder, outside=printed_outside([f"{head.size + 1} {words}"]))
    assert any(f"at entry {head.size} of this trail, and not at entry {head.size + 1}" in one for one in wrong.problems)
    other = verify_folder(folder, outside=printed_outside(["legal winner thank year wave sausage"]))
    assert any("not on this chain" in problem for problem in other.problems)


def test_the_qr_code_holds_the_head(database: Database, tmp_path: Path) -> None:
    """Read the drawing back by another library (OpenCV's decoder)."""
    import re

    import cv2
    import numpy as np

    head = present_head(database)
    svg = qr_svg(qr_text(head))
    box, path = re.search(r'viewBox="0 0 (\d+)', svg), re.search(r'stroke="#000" d="([^"]+)"', svg)
    assert box is not None
    assert path is not None
    side = int(box[1])
    modules = np.full((side, side), 255, dtype=np.uint8)
    x = y = 0.0
    for command, numbers in re.findall(r"([Mmh])([-\d. ]+)", path[1]):
        parts = [float(part) for part in numbers.replace("-", " -").split()]
        if command == "h":
            modules[int(y), int(x) : int(x + parts[0])] = 0
            x += parts[0]
        else:
            x, y = (parts[0], parts[1]) if command == "M" else (x + parts[0], y + parts[1])
    picture = np.kron(modules, np.ones((6, 6), dtype=np.uint8))
    # OpenCV's other detector loses one code in five, whatever its size.
    text, _, _ = cv2.QRCodeDetectorAruco().detectAndDecode(picture)
    assert read_head_text("qr", text) == head


def test_a_key_of_another_is_none_of_this_trail(database: Database, folder: Path) -> None:
    head = present_head(database)
    foreign = SigningKey.make().sign_head(head.size, bytes.fromhex(head.root), head.hash, head.at)
    found = verify_folder(folder, outside=Outside(heads=(("a letter", foreign),)))
    assert any("a key that this trail does not name" in problem for problem in found.problems)
