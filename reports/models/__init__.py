from reports.models.cook import (
    CookDay,
    CookLog,
    CookNote,
    CookSettings,
    CookStage,
    CookTemperature,
    TeamField,
    TeamStages,
)
from reports.models.fits import ContestAgreement, SeasonWork, SeverityFit
from reports.models.past import ImportedContest, PastResult, TeamAlias
from reports.models.practice import Answer, Plate, Practice, Taster, Version
from reports.models.publication import Publication
from reports.models.work import JobState, PrintJob

__all__ = [
    "Answer",
    "ContestAgreement",
    "CookDay",
    "CookLog",
    "CookNote",
    "CookSettings",
    "CookStage",
    "CookTemperature",
    "ImportedContest",
    "JobState",
    "PastResult",
    "Plate",
    "Practice",
    "PrintJob",
    "Publication",
    "SeasonWork",
    "SeverityFit",
    "Taster",
    "TeamAlias",
    "TeamField",
    "TeamStages",
    "Version",
]
