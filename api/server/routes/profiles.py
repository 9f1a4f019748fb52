"""What instruments can show: the generic profiles, and the one of a job's instrument."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Body

from api.ledger.canonical import JsonObject
from api.server.routes import WorkspaceDep
from api.visit.jobs import instruments_of, job_of
from api.visit.plain_text import PlainJson, PlainText
from api.visit.profiles import instrument_of, profile_for_page
from capture.display.profile_files import shipped

router = APIRouter(prefix="/api", tags=["instruments"])


@router.get("/profiles")
def list_profiles() -> list[JsonObject]:
    """List the generic profiles that ship, by class of instrument."""
    return [profile.to_json() for profile in shipped().values()]


@router.get("/jobs/{job_id}/profiles")
def list_job_profiles(workspace: WorkspaceDep, job_id: str) -> list[JsonObject]:
    """List what each of a job's instruments can show; `origin` says whether set, described or learnt."""
    with workspace.database.read() as session:
        job_of(session, job_id)
        return [profile_for_page(session, row) for row in instruments_of(session, job_id)]


@router.get("/jobs/{job_id}/instruments/{label}/profile")
def show_profile(workspace: WorkspaceDep, job_id: str, label: str) -> JsonObject:
    """Show what one of a job's instruments can show."""
    with workspace.database.read() as session:
        job_of(session, job_id)
        return profile_for_page(session, instrument_of(session, job_id, label))


@router.put("/jobs/{job_id}/instruments/{label}/profile")
def put_profile(
    workspace: WorkspaceDep, job_id: str, label: str, profile: Annotated[PlainText | PlainJson, Body()]
) -> JsonObject:
    """Say what an instrument can show: the name of a generic profile, or a profile written out. Audited."""
    return workspace.set_profile(job_id, label, profile)
