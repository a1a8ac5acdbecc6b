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
from reports.models.past import ImportedContest, PastResult, TeamAlias
from reports.models.publication import Publication

__all__ = [
    "CookDay",
    "CookLog",
    "CookNote",
    "CookSettings",
    "CookStage",
    "CookTemperature",
    "ImportedContest",
    "PastResult",
    "Publication",
    "TeamAlias",
    "TeamField",
    "TeamStages",
]
