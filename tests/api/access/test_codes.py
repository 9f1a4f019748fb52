"""One-time codes and paired devices."""

from __future__ import annotations

import dataclasses
import datetime as dt

import pytest

from api.access.codes import DIGITS, LIFE_S, MOST_OPEN, TRIES, TRIES_PER_CLIENT, Grant, PairingCodes
from api.access.devices import LIFE, all_devices, pair_device, revoke_device, token_hash
from api.access.errors import BadRole, CodeWrong, NoSuchDevice, TooManyTries
from api.access.guests import Guests
from api.access.roles import Role, role_of
from api.ledger.clock import utc_text
from api.workspace import Workspace

GRANT = Grant(Role.TECHNICIAN)


class Clock:
    def __init__(self) -> None:
        self.now = 1000.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def codes(clock: Clock) -> PairingCodes:
    return PairingCodes(clock)


def wrong(code: str) -> str:
    return f"{(int(code) + 1) % 10**DIGITS:0{DIGITS}}"


def test_a_code_works_once(codes: PairingCodes) -> None:
    grant = Grant(Role.READER, "Ada")
    code = codes.make(grant)
    assert (len(code), code.isdigit()) == (8, True)
    assert codes.take(f"{code[:4]} {code[4:]}", "a") == grant
    with pytest.raises(CodeWrong):
        codes.take(code, "a")


def test_a_code_lives_five_minutes(codes: PairingCodes, clock: Clock) -> None:
    first, second = codes.make(GRANT), codes.make(GRANT)
    clock.now += LIFE_S - 0.1
    assert codes.take(first, "a") == GRANT
    clock.now += 0.2
    with pytest.raises(CodeWrong):
        codes.take(second, "a")
    assert LIFE_S == 300  # what the page and the terminal say


def test_wrong_tries_of_one_client_are_few(codes: PairingCodes, clock: Clock) -> None:
    code = codes.make(GRANT)
    for _ in range(TRIES_PER_CLIENT):
        with pytest.raises(CodeWrong):
            codes.take(wrong(code), "guesser")
    with pytest.raises(TooManyTries) as caught:
        codes.take(code, "guesser")  # not even the right one is looked at
    assert 0 < caught.value.retry_s <= LIFE_S
    assert codes.take(code, "another") == GRANT
    clock.now += LIFE_S
    assert codes.take(codes.make(GRANT), "guesser") == GRANT


def test_wrong_tries_of_all_void_every_code(codes: PairingCodes) -> None:
    code = codes.make(GRANT)
    for number in range(TRIES):
        with pytest.raises(CodeWrong):
            codes.take(wrong(code), f"client {number}")
    with pytest.raises(CodeWrong):
        codes.take(code, "another")


def test_only_so_many_are_open(codes: PairingCodes) -> None:
    made = [codes.make(GRANT) for _ in range(MOST_OPEN + 1)]
    with pytest.raises(CodeWrong):
        codes.take(made[0], "a")
    assert codes.take(made[1], "a") == GRANT


def test_roles() -> None:
    assert role_of("reader") is Role.READER
    with pytest.raises(BadRole):
        role_of("owner")


def test_a_device_is_on_record_and_its_token_is_not(workspace: Workspace) -> None:
    device, token = pair_device(workspace.database, "Phone", "Ada", GRANT)
    assert (device.id, device.person, device.token_sha256) == ("device-1", "Ada", token_hash(token))
    second, other = pair_device(workspace.database, "Phone", "Ada", Grant(Role.READER, "Grace"))
    assert (second.id, second.person, other != token) == ("device-2", "Grace", True)
    revoke_device(workspace.database, "device-1")
    with pytest.raises(NoSuchDevice):
        revoke_device(workspace.database, "device-1")
    with workspace.database.read() as session:
        assert [bool(one.revoked_at) for one in all_devices(session)] == [True, False]
    for path in workspace.folder.glob("*"):
        assert not path.is_file() or token.encode() not in path.read_bytes(), path
    found = workspace.verify()
    assert (found.intact, found.entries) == (True, 4)  # the key, two pairings, one end


def test_who_changes_a_device_in_the_database_is_found(workspace: Workspace) -> None:
    import sqlite3

    pair_device(workspace.database, "Phone", "Ada", Grant(Role.READER))
    with sqlite3.connect(workspace.folder / "ohmtrail.db") as connection:
        connection.execute("UPDATE device SET role = 'technician'")
    connection.close()
    assert any("device device-1: role is 'technician'" in one for one in workspace.verify().problems)


def test_a_token_counts_until_it_is_revoked_elsewhere_or_too_old(workspace: Workspace) -> None:
    guests = Guests(workspace.database)
    device, token = guests.pair(guests.codes.make(GRANT), "a", "Phone", "Ada")
    assert guests.device_of(token) == device
    assert guests.device_of(token + "x") is None
    assert guests.device_of("") is None
    ended: list[str] = []
    with guests.connected(device, lambda: ended.append("ended")):
        revoke_device(workspace.database, device.id)  # as a command in another process does
        guests.refresh()
        assert ended == ["ended"]
    assert guests.device_of(token) is None
    fresh = dataclasses.replace(device, paired_at=utc_text(dt.datetime.now(dt.UTC)))
    assert fresh.counts(dt.datetime.now(dt.UTC))
    assert not fresh.counts(dt.datetime.now(dt.UTC) + LIFE)
