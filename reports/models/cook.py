"""What a team keeps for itself about its cooks: stage lengths, days, what was done when, what was noted."""

import uuid
from zoneinfo import ZoneInfo

from django.db import models
from django.db.models import Q

from contest.models.setup import key_validator


class CookSettings(models.Model):
    """How a team writes temperatures."""

    class Unit(models.TextChoices):
        FAHRENHEIT = "F", "°F"
        CELSIUS = "C", "°C"

    team = models.OneToOneField("contest.Team", on_delete=models.CASCADE, related_name="cook_settings")
    unit = models.CharField(max_length=1, choices=Unit.choices, default=Unit.FAHRENHEIT)

    def __str__(self) -> str:
        return f"{self.team} in {self.get_unit_display()}"


class TeamStages(models.Model):
    """How long each stage takes a team in a category, as `reports.rules.timeline` reads it."""

    team = models.ForeignKey("contest.Team", on_delete=models.CASCADE, related_name="stages")
    category = models.CharField(max_length=30, validators=[key_validator])
    lengths = models.JSONField(default=dict, help_text="Stage key → minutes; a stage that is left out has no row.")
    spritz_every = models.PositiveSmallIntegerField(null=True, blank=True)

    class Meta:
        verbose_name_plural = "team stages"
        constraints = [models.UniqueConstraint(fields=["team", "category"], name="team_stages_once_a_category")]

    def __str__(self) -> str:
        return f"{self.category} of {self.team}"


class TeamField(models.Model):
    """Something a team notes at every cook: rub, wood, sauce, cut, or whatever it calls its own."""

    team = models.ForeignKey("contest.Team", on_delete=models.CASCADE, related_name="cook_fields")
    name = models.CharField(max_length=40)
    order = models.PositiveSmallIntegerField(default=0)
    shown = models.BooleanField(default=True)

    class Meta:
        ordering = ["order", "id"]
        constraints = [models.UniqueConstraint(fields=["team", "name"], name="team_field_once")]

    def __str__(self) -> str:
        return self.name


class CookDay(models.Model):
    """A day on which a team cooks: at a contest of this installation, or one typed in by hand."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    team = models.ForeignKey("contest.Team", on_delete=models.CASCADE, related_name="cook_days")
    contest = models.ForeignKey(
        "contest.Contest", null=True, blank=True, on_delete=models.SET_NULL, related_name="cook_days"
    )
    name = models.CharField(max_length=120)
    date = models.DateField()
    time_zone = models.CharField(max_length=60, default="UTC")

    class Meta:
        ordering = ["-date", "-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["team", "contest"], condition=Q(contest__isnull=False), name="cook_day_once_a_contest"
            )
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.time_zone)


class CookLog(models.Model):
    """One category of a team's cook day: private to the team."""

    day = models.ForeignKey(CookDay, on_delete=models.CASCADE, related_name="logs")
    key = models.CharField(max_length=30, validators=[key_validator])
    name = models.CharField(max_length=60)
    turn_in_at = models.DateTimeField()
    notes = models.TextField(blank=True, max_length=4000)

    class Meta:
        ordering = ["turn_in_at", "id"]
        constraints = [models.UniqueConstraint(fields=["day", "key"], name="cook_log_once_a_category")]

    def __str__(self) -> str:
        return f"{self.name} at {self.day}"


class CookStage(models.Model):
    """When a stage began. Spritzing comes again and again, every other stage once."""

    log = models.ForeignKey(CookLog, on_delete=models.CASCADE, related_name="stages")
    stage = models.CharField(max_length=12)
    at = models.DateTimeField()

    class Meta:
        ordering = ["at", "id"]
        constraints = [
            models.UniqueConstraint(fields=["log", "stage"], condition=~Q(stage="spritz"), name="cook_stage_once")
        ]

    def __str__(self) -> str:
        return f"{self.stage} of {self.log}"


class CookTemperature(models.Model):
    """A reading of a thermometer, in the unit it was typed in."""

    class Where(models.TextChoices):
        PIT = "pit", "Pit"
        MEAT = "meat", "Meat"

    log = models.ForeignKey(CookLog, on_delete=models.CASCADE, related_name="temperatures")
    where = models.CharField(max_length=4, choices=Where.choices)
    degrees = models.DecimalField(max_digits=5, decimal_places=1)
    unit = models.CharField(max_length=1, choices=CookSettings.Unit.choices)
    at = models.DateTimeField()

    class Meta:
        ordering = ["at", "id"]

    def __str__(self) -> str:
        return f"{self.get_where_display()} {self.degrees} {self.get_unit_display()}"


class CookNote(models.Model):
    """What one of the team's own fields was at a cook."""

    log = models.ForeignKey(CookLog, on_delete=models.CASCADE, related_name="noted")
    field = models.ForeignKey(TeamField, on_delete=models.CASCADE, related_name="noted")
    value = models.CharField(max_length=60)

    class Meta:
        ordering = ["field__order", "field_id"]
        constraints = [models.UniqueConstraint(fields=["log", "field"], name="cook_note_once")]

    def __str__(self) -> str:
        return f"{self.field}: {self.value}"
