"""More machines for a day's files: the same requests as the processes of this machine get, by Dask distributed.

Workers get bytes and give back recognitions; evidence, ledger and every decision stay here. A piece or photo depends on
nothing but its bytes and the models, so that one whose worker was lost is simply worked on again by another: `take_day`
takes each result once, by its place, whoever gave it and however often it was worked out.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, cast

from api.day.errors import ClusterAway, ClusterNotInstalled, ClusterOtherModels
from api.intake.errors import RecognitionFailed
from api.intake.identity import recogniser_of
from api.intake.recognisers import Engines, Quad, RealEngines, shipped_models
from api.intake.worker import Crop, Done, HearPiece, Recogniser, Reply, Request, See
from capture.reading import Seen
from capture.speech.memo import Piece, Span

if TYPE_CHECKING:
    from distributed import Client

ANSWER_S = 10.0
"""How long the scheduler may take to answer, s."""

TRIES = 3
"""A worker's end is forgiven so often for one piece; then the piece is taken for what ended them."""

MakeEngines = Callable[[], Engines]


@dataclass(frozen=True)
class WorkerModels:
    """What a worker hears and sees with, to be compared: only the same models give the same results."""

    hears: str
    sees: str
    second_opinion: bool
    second_reader: bool


def models_here(engines: object, *, second_opinion: bool) -> WorkerModels:
    """Say what this machine hears and sees with.

    Args:
        engines: Any that can be identified.
        second_opinion: Whether a second engine is to be asked.
    """
    hears, sees = (str(recogniser_of(engines, photo=photo).get("model_sha256", "")) for photo in (False, True))
    return WorkerModels(hears, sees, second_opinion and _found("speech"), _found("display"))


def _found(room: str) -> bool:
    from importlib import import_module

    from capture.errors import CaptureError

    files = import_module(f"capture.{room}.second_opinion.files")
    try:
        files.find_files(files.default_folder())
    except CaptureError:
        return False
    return True


@cache
def _recogniser(make: MakeEngines) -> Recogniser:
    """Make this worker's engines, once; they load at first use."""
    return Recogniser(make())


@dataclass(frozen=True)
class MakeReal:
    """Makes the engines that ship, on a worker."""

    second_opinion: bool = True

    def __call__(self) -> Engines:
        """Make them."""
        return RealEngines(second_opinion=self.second_opinion)


def answer(make: MakeEngines, request: Request) -> Reply:
    """Answer a request, on a worker; never raises."""
    return _recogniser(make).answer(request)


def models_there(make: MakeEngines, second_opinion: bool) -> WorkerModels:
    """Say what a worker hears and sees with, on that worker."""
    return models_here(make(), second_opinion=second_opinion)


class ClusterEngines:
    """Hears pieces and sees photos on the workers of a cluster; called from many threads."""

    def __init__(self, address: str, *, second_opinion: bool = True, make: MakeEngines | None = None) -> None:
        """Connect, and compare the models of all workers with this machine's.

        Args:
            address: Of the scheduler, "tcp://192.168.1.20:8786"; with "tls://" as Dask's own configuration says.
            second_opinion: Ask a second engine about what was heard.
            make: Makes other engines on each worker.

        Raises:
            ClusterNotInstalled: The extra is missing.
            ClusterAway: Nobody answers, or there is no worker.
            ClusterOtherModels: A worker has other models.
        """
        try:
            from distributed import Client
        except ImportError:
            raise ClusterNotInstalled() from None
        self._make: MakeEngines = make or MakeReal(second_opinion)
        try:
            self._client: Client = Client(address, timeout=ANSWER_S, set_as_default=False)
        except (OSError, ValueError, TimeoutError) as error:
            raise ClusterAway(address=address, cause=str(error) or type(error).__name__) from None
        try:
            self._compare(address, second_opinion)
        except BaseException:
            self.close()
            raise

    def _compare(self, address: str, second_opinion: bool) -> None:
        try:
            found = self._client.run(models_there, self._make, second_opinion)
        except (OSError, ValueError, TimeoutError) as error:
            raise ClusterAway(address=address, cause=str(error) or type(error).__name__) from None
        if not found:
            raise ClusterAway(address=address, cause="it has no worker")
        own = models_here(self._make(), second_opinion=second_opinion)
        other = sorted(str(name) for name, models in found.items() if models != own)
        if other:
            raise ClusterOtherModels(workers=", ".join(other))

    @property
    def workers(self) -> int:
        """How many pieces and photos are worked on at the same time: a worker's threads; at least 1."""
        return max(1, sum(int(count) for count in self._client.nthreads().values()))

    def close(self) -> None:
        """Leave the cluster, which stays."""
        self._client.close()

    def model_folder(self, *, photo: bool) -> Path:
        """See `api.intake.identity.IdentifiedEngines.model_folder`."""
        return shipped_models(None, photo=photo)

    def hear_piece(self, piece: Piece) -> tuple[Span, ...]:
        """See `DayEngines.hear_piece`."""
        return cast("tuple[Span, ...]", self._ask(HearPiece(piece)))

    def see(self, data: bytes, corners: Quad | None = None) -> Seen:
        """See `DayEngines.see`."""
        return cast("Seen", self._ask(See(data, corners)))

    def crop(self, data: bytes, quad: Quad) -> bytes:
        """See `DayEngines.crop`."""
        return cast("bytes", self._ask(Crop(data, quad)))

    def _ask(self, request: Request) -> object:
        """Have a worker answer.

        Raises:
            CaptureError: The engine failed, or every worker that tried was lost; another run may have more luck.
        """
        try:
            # Not pure: by its arguments a request would be hashed and kept, and these are megabytes.
            reply = self._client.submit(answer, self._make, request, pure=False, retries=TRIES).result()
        except Exception as error:  # whatever the way there and back raises: the file is left for another run
            raise RecognitionFailed(kind=type(error).__name__) from error
        if isinstance(reply, Done):
            return reply.value
        raise reply.problem
