"""One attack played: the export changed, verified in memory, and by the enclosed verifier where asked for."""

from __future__ import annotations

import io
import random
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

from api.exchange.bag import Bag, checked
from api.exchange.errors import BagUnusable
from api.exchange.export import export_job
from api.exchange.verify_bag import verify_bag
from api.ledger.signing import SignedHead, SigningKey
from api.workspace import Workspace
from tests.api.conftest import Visit
from tests.api.makers import JOB, FakeEngines
from tests.attacks.kinds import BEYOND, Attack, Files


@dataclass(frozen=True)
class Target:
    """An export to attack.

    Attributes:
        files: Its files by name.
        key: The maker's key.
        head: Its signed head, as somebody outside may hold it.
    """

    files: Files
    key: SigningKey
    head: SignedHead


@dataclass(frozen=True)
class Played:
    """How one attack ended.

    Attributes:
        kind: Its kind.
        found: The program's own verification found it.
        enclosed: The enclosed verifier did; None where it was not asked.
        outside: A head from outside shows it.
    """

    kind: str
    found: bool
    enclosed: bool | None
    outside: bool

    @property
    def wrong(self) -> bool:
        """Missed, or told of where nothing was changed, or the two verifiers do not agree."""
        meant = self.kind not in BEYOND and self.kind != "nothing changed"
        return (
            self.found is not meant or self.enclosed not in (None, meant) or (self.kind in BEYOND and not self.outside)
        )


def make_target(folder: Path) -> Target:
    """Make a visit and its export."""
    workspace = Workspace.open(folder / "data", engines=FakeEngines())
    visit = Visit(workspace)
    workspace.create_job({**JOB, "title": "Another customer's"})
    visit.make_safe()
    visit.say("x ray axis through the cable a one to a two one point zero eight ohms")
    visit.show("1.080", "Ohm")
    visit.say("confirm")
    visit.say("insulation set five hundred volts")
    visit.say("lead to ground five hundred megohms")
    visit.say("correction five hundred fifty megohms")
    visit.say("confirm")
    workspace.grade(visit.job)
    workspace.make_report(visit.job)
    made = export_job(workspace.database, workspace.evidence, workspace.reports, visit.job, folder / "bag")
    key = workspace.database.signing_key()
    workspace.close()
    files = {
        path.relative_to(folder / "bag").as_posix(): path.read_bytes()
        for path in (folder / "bag").rglob("*")
        if path.is_file()
    }
    return Target(files, key, made.head)


def bag_in_memory(files: Files) -> Bag:
    """Open an export that lies in memory, by the checks that one on disk passes."""
    bag = Bag("attacked", {name: len(data) for name, data in files.items()}, lambda name: io.BytesIO(files[name]))
    checked(bag, bag.sizes)
    return bag


def play(target: Target, kind: str, attack: Attack | None, drawn: random.Random, *, with_enclosed: bool) -> Played:
    """Change the export, and verify it."""
    files = dict(target.files)
    while attack is not None and files == target.files:
        files = dict(target.files)
        attack(files, drawn, target.key)
    try:
        found = verify_bag(bag_in_memory(files))
        problems, head = bool(found.problems), found.head
    except BagUnusable:
        problems, head = True, None
    # What a person does who holds an earlier head of the same size: compares the two.
    outside = head is None or (head.size, head.root, head.key) != (target.head.size, target.head.root, target.head.key)
    return Played(kind, problems, _enclosed(target, files) if with_enclosed else None, outside)


def _enclosed(target: Target, files: Files) -> bool:
    """Verify by the verifier of an untouched export, in a Python without any package."""
    with tempfile.TemporaryDirectory() as folder:
        for name, data in files.items():
            path = Path(folder, "bag", name)
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(data)
        for name in ("check.py", "ed25519.py"):
            Path(folder, name).write_bytes(target.files[name])
        command = [sys.executable, "-S", str(Path(folder, "check.py")), str(Path(folder, "bag"))]
        ended = subprocess.run(command, capture_output=True, text=True, cwd=folder, check=False)
        assert ended.stderr == "", ended.stderr
        return ended.returncode != 0
