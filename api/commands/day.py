"""`ohmtrail day`: a folder of memos and photos in one go."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from api.commands.options import Data, Profile, SecondOpinion

if TYPE_CHECKING:
    from rich.console import Console
    from rich.progress import Progress

    from api.day.batch import DayOutcome, DayWishes
    from api.day.recognising import DayEngines
    from api.workspace import Workspace


def day(
    folder: Annotated[Path, typer.Argument(help="Folder of memos and photos, as copied from recorder and phone.")],
    job: Annotated[
        list[str] | None,
        typer.Option(help="The job, J1; or J1@13:00 and again J2@14:10 where the work changed. Else by the axes."),
    ] = None,
    clock: Annotated[
        str | None, typer.Option(help='Whose clock is off, "recorder +58min" or "camera -1h"; else it is compared.')
    ] = None,
    zone: Annotated[
        str | None, typer.Option(help='Time zone of times that say none, "Europe/Berlin" or "+01:00".')
    ] = None,
    data: Data = Path("data"),
    workers: Annotated[
        int | None, typer.Option(min=1, max=256, help="How many at a time; as many as cores and memory allow.")
    ] = None,
    cluster: Annotated[
        str | None, typer.Option(help='Have other machines work: their scheduler, "tcp://192.168.1.20:8786" (Dask).')
    ] = None,
    profile: Profile = None,
    second_opinion: SecondOpinion = True,
) -> None:
    """Take a day's memos and photos in: everything becomes proposals, to be confirmed on the page."""
    from contextlib import closing

    from rich.console import Console

    from api.assessment.shop_limits import read_shop
    from api.day.batch import DayWishes
    from api.day.cluster import ClusterEngines
    from api.intake.pooled import PooledEngines
    from api.intake.recognisers import RealEngines
    from api.workspace import Workspace

    console = Console(highlight=False)
    shop = None if profile is None else read_shop(profile)
    wishes = DayWishes(clock, zone, tuple(job or ()))
    if cluster is not None:
        with closing(ClusterEngines(cluster, second_opinion=second_opinion)) as far:
            here = RealEngines(second_opinion=second_opinion)  # says which models; loads none
            with closing(Workspace.open(data, engines=here, shop=shop)) as workspace:
                show(console, run(workspace, folder, wishes, workers or 2 * far.workers, console, far))
        return
    near = PooledEngines(second_opinion=second_opinion, count=workers)
    with closing(near), closing(Workspace.open(data, engines=near, shop=shop)) as workspace:
        show(console, run(workspace, folder, wishes, len(near.pool.workers), console))


def run(
    workspace: Workspace,
    folder: Path,
    wishes: DayWishes,
    workers: int,
    console: Console,
    engines: DayEngines | None = None,
) -> DayOutcome:
    """Take a folder in, with progress; asks once for the job where nobody can tell and somebody is there to answer.

    Raises:
        DayJobUnknown: Nobody is there to answer.
        OhmtrailError: See `api.day.batch.take_day`.
    """
    import sys
    from dataclasses import replace

    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn, TimeRemainingColumn

    from api.day.batch import take_day
    from api.day.errors import DayJobUnknown

    columns = (TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn(), TimeRemainingColumn())
    for _ in range(2):
        try:
            with Progress(*columns, console=console) as bar:
                return take_day(workspace, [folder], wishes, workers=workers, engines=engines, progress=_Bar(bar))
        except DayJobUnknown as problem:
            if wishes.jobs or not sys.stdin.isatty():
                raise
            console.print(problem.message)
            answer = typer.prompt("Job (J1, or J1@13:00 J2@14:10)")
            wishes = replace(wishes, jobs=tuple(answer.split()))
    raise AssertionError("the second try ends or raises")


class _Bar:
    """A progress bar that follows the steps."""

    def __init__(self, bar: Progress) -> None:
        self._bar = bar
        self._task = bar.add_task("Looking", total=None)

    def begin(self, what: str, total: float) -> None:
        """See `api.day.batch.DayProgress.begin`."""
        self._bar.update(self._task, visible=False)
        self._task = self._bar.add_task(what, total=max(total, 0.01))

    def advance(self, by: float) -> None:
        """See `api.day.batch.DayProgress.advance`."""
        self._bar.advance(self._task, by)


def show(console: Console, outcome: DayOutcome) -> None:
    """Say what became of the files."""
    counts = outcome.counts
    console.print(
        f"{counts['memos']} memos, {counts['photos']} photos: {counts['values']} values heard, {counts['joined']} with "
        f"their photo; {counts['photos that ask']} photos ask where they belong; "
        f"{counts['passed over']} utterances passed over as talk."
    )
    if counts["circumstances unused"]:
        console.print(f"Circumstances said that no value followed, noted nowhere: {counts['circumstances unused']}.")
    if counts["memos"] and counts["photos"]:
        console.print(outcome.clocks.sentence())
    for file in outcome.before:
        console.print(f"{file.path.name}: seen before, taken in as {', '.join(file.before)}.", markup=False)
    for path, same in outcome.doubles:
        console.print(f"{path.name}: the same content as {same}, taken once.", markup=False)
    for one in outcome.untaken:
        console.print(f"{one.path.name}: {one.problem}", style="yellow", markup=False, soft_wrap=True)
    for job_id, proposals in outcome.proposals.items():
        console.print(f"{job_id}: {len(proposals)} proposals wait for your yes: ohmtrail serve, then the job's Review.")
