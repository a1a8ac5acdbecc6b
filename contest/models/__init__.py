from contest.models.desk import TurnIn
from contest.models.draw import Box, Draw, DrawCeremony, LabelCorrection, Pairing
from contest.models.log import LogChain, LogPerson, LogRow
from contest.models.people import (
    Account,
    Attendance,
    ContestRole,
    Entered,
    Entry,
    FailedTries,
    Judge,
    JudgeConflict,
    Pass,
    SeatToken,
    Team,
    TeamMember,
)
from contest.models.setup import Category, Contest, RuleSet, Season, Seat, Sitting, Table

__all__ = [
    "Account",
    "Attendance",
    "Box",
    "Category",
    "Contest",
    "ContestRole",
    "Draw",
    "DrawCeremony",
    "Entered",
    "Entry",
    "FailedTries",
    "Judge",
    "JudgeConflict",
    "LabelCorrection",
    "LogChain",
    "LogPerson",
    "LogRow",
    "Pairing",
    "Pass",
    "RuleSet",
    "Season",
    "Seat",
    "SeatToken",
    "Sitting",
    "Table",
    "Team",
    "TeamMember",
    "TurnIn",
]
