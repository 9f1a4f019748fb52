"""Check Ed25519 signatures (RFC 8032, sections 5.1 and 6) by the standard library alone; nothing secret is handled."""

from __future__ import annotations

import hashlib
from typing import Any

P, Q = 2**255 - 19, 2**252 + 27742317777372353535851937790883648493  # the field and the group's order
D = -121665 * pow(121666, P - 2, P) % P


def add(a: Any, b: Any) -> Any:  # points in extended coordinates X, Y, Z, T; RFC 8032, 5.1.4
    k, m = (a[1] - a[0]) * (b[1] - b[0]) % P, (a[1] + a[0]) * (b[1] + b[0]) % P
    c, z = 2 * a[3] * b[3] * D % P, 2 * a[2] * b[2] % P
    e, f, g, h = m - k, z - c, z + c, m + k
    return e * f % P, g * h % P, f * g % P, e * h % P


def times(number: int, point: Any) -> Any:
    found = (0, 1, 1, 0)
    while number:
        if number & 1:
            found = add(found, point)
        point, number = add(point, point), number >> 1
    return found


def point_of(data: bytes) -> Any:  # RFC 8032, 5.1.3
    y = int.from_bytes(data, "little")
    sign, y = y >> 255, y & (1 << 255) - 1
    x2 = (y * y - 1) * pow(D * y * y + 1, P - 2, P) % P
    x = pow(x2, (P + 3) // 8, P)
    if (x * x - x2) % P:
        x = x * pow(2, (P - 1) // 4, P) % P
    if y >= P or (x * x - x2) % P or (x == 0 and sign):
        raise ValueError("no point")
    return (P - x if x & 1 != sign else x), y, 1, (P - x if x & 1 != sign else x) * y % P


BASE = point_of((4 * pow(5, P - 2, P) % P).to_bytes(32, "little"))


def ed25519(public: bytes, message: bytes, signature: bytes) -> bool:  # RFC 8032, 5.1.7
    try:
        key, first, s = point_of(public), point_of(signature[:32]), int.from_bytes(signature[32:], "little")
    except ValueError:
        return False
    h = int.from_bytes(hashlib.sha512(signature[:32] + public + message).digest(), "little") % Q
    a, b = times(s, BASE), add(first, times(h, key))
    same = not (a[0] * b[2] - b[0] * a[2]) % P and not (a[1] * b[2] - b[1] * a[2]) % P
    return len(signature) == 64 and s < Q and same
