"""What can be wrong with who asks: not paired, not allowed to, a code that is none; and with the way in itself."""

from __future__ import annotations

from api.errors import BadInput, Forbidden, NotFound, Refused, TooMany, Unavailable, Unknown


class NotPaired(Unknown):
    """Refuse a device without a token that counts."""

    code = "not_paired"
    message = "This device is not paired, or its pairing was ended."
    remedy = "Open /pair and type a code that the laptop shows."


class ReaderMayNot(Forbidden):
    """Refuse what changes something to a device that may only read."""

    code = "readers_only_read"
    message = "This device may only read."
    remedy = "Pair it as a technician to work on the job."


class LaptopOnly(Forbidden):
    """Refuse over the network what is done at the machine itself."""

    code = "laptop_only"
    message = "Devices are paired and revoked at the laptop only."
    remedy = "Open the page on the machine that runs the server."


class CodeWrong(Forbidden):
    """Refuse a code that is wrong, used or too old; which of them is not told."""

    code = "code_wrong"
    message = "That code is wrong, was used already, or is older than five minutes."
    remedy = "Make a new one at the laptop: Devices, Pair another."


class TooManyTries(TooMany):
    """Refuse more wrong codes from one address."""

    code = "too_many_tries"
    message = "Too many wrong codes came from this address."
    remedy = "Wait {retry_s} s, then type a new code."
    retry_s: int


class LanOff(Refused):
    """Say that the server speaks to its own machine only."""

    code = "lan_off"
    message = "This server speaks to this machine only."
    remedy = "Start it with ohmtrail serve --lan."


class NoSuchDevice(NotFound):
    """There is no device of this number that is still paired."""

    code = "no_such_device"
    message = "There is no paired device {device_id!r}."
    remedy = "List them with ohmtrail devices."
    device_id: str


class BadRole(BadInput):
    """A role that there is not."""

    code = "bad_role"
    message = "There is no role {role!r}."
    remedy = "Use technician or reader."
    role: str


class HostUnguarded(BadInput):
    """Refuse to let a network in without encryption and pairing."""

    code = "host_unguarded"
    message = "At {host} everybody on the network could read and write, without encryption and unpaired."
    remedy = "To let phones in, use ohmtrail serve --lan."
    host: str


class PortTaken(Unavailable):
    """A port that another program listens on."""

    code = "port_taken"
    message = "Port {port} cannot be used: {cause}."
    remedy = "Choose another with --port; the network's ports are the two after it."
    port: int
    cause: str


class NotServing(Unavailable):
    """No server of this data folder answers."""

    code = "not_serving"
    message = "No server with --lan is running on {folder}."
    remedy = "Start it with ohmtrail serve --lan."
    folder: str
